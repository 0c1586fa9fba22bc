import { afterAll, expect, it } from 'vitest';
import { Axlepost, storedEvents } from './support/axlepost.js';
import { framesOf, Listener } from './support/can.js';
import { NOT_AWAITED, run, Scene, truckText } from './support/scene.js';

const scene = new Scene();
afterAll(() => scene.end());

/** Amber lamp; SPN 117 FMI 18 and SPN 118 FMI 18 (air pressures too low), SPN 639 FMI 14: 14 bytes, so three parts. */
const DM1 = '04FF75001201760012017F020E01';

/**
 * A datagram to everybody, from address 0x2A, of PGN 65226: the kernel makes parts of it. (j1939cat 2020.11 does not understand
 * what a kernel of 6.1 tells it of the transfer, and breaks it off.)
 */
const SEND = `
import socket, sys, time
s = socket.socket(socket.PF_CAN, socket.SOCK_DGRAM, socket.CAN_J1939)
s.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
s.bind(('vcan3', socket.J1939_NO_NAME, socket.J1939_NO_PGN, 0x2a))
for n in range(4):
    s.sendto(bytes.fromhex(sys.argv[1]), ('vcan3', socket.J1939_NO_NAME, 0xfeca, 0xff))
    time.sleep(1)
`;

it('a fault-code message in parts, sent by the kernel’s own J1939 stack, is put together', async () => {
  await scene.vcan('vcan3');
  const other = await Listener.start(scene, 'seen.log', 'vcan3');
  const config = scene.write('truck.yaml', truckText(scene, { buses: { main: 'vcan3' }, rules: NOT_AWAITED }));
  const program = new Axlepost(scene, config);
  await program.listens(1);
  await run('/usr/bin/python3', '-c', SEND, DM1);
  await program.stop();
  const frames = framesOf(await other.stop());
  // BAM: 14 bytes in 2 parts of 7, of PGN 00FECA (J1939-21, 5.10.3).
  expect(frames.filter((frame) => /^18ECFF2A#200E0002FFCAFE00$/.test(frame))).toHaveLength(4);
  expect(frames.filter((frame) => /^18EBFF2A#0[12]/.test(frame))).toHaveLength(8);
  expect(frames).toHaveLength(12);
  const told = storedEvents(scene.path('truck.db')).told.map(({ rule, subject, change }) => [rule, subject, change]);
  expect(told.filter(([rule]) => rule === 'fault-code').sort()).toEqual([
    ['fault-code', 'fault/main/42/117/18', 'raised'],
    ['fault-code', 'fault/main/42/118/18', 'raised'],
    ['fault-code', 'fault/main/42/639/14', 'raised'],
  ]);
});
