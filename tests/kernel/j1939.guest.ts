import { writeFileSync } from 'node:fs';
import { afterAll, expect, it } from 'vitest';
import { Axlepost, storedEvents } from './support/axlepost.js';
import { framesOf, Listener } from './support/can.js';
import { NOT_AWAITED, pause, run, Scene, truckText } from './support/scene.js';

const scene = new Scene();
afterAll(() => scene.end());

/** Amber lamp; SPN 117 FMI 18 and SPN 118 FMI 18 (air pressures too low), SPN 639 FMI 14: 14 bytes, so three parts. */
const DM1 = Buffer.from('04FF7500120176001201 7F020E01'.replace(' ', ''), 'hex');

it('a fault-code message in parts, sent by the kernel’s own J1939 stack, is put together', async () => {
  await scene.vcan('vcan3');
  const other = await Listener.start(scene, 'seen.log', 'vcan3');
  const config = scene.write('truck.yaml', truckText(scene, { buses: { main: 'vcan3' }, rules: NOT_AWAITED }));
  const program = new Axlepost(scene, config);
  await program.listens(1);
  writeFileSync(scene.path('dm1'), DM1);
  for (let n = 0; n < 4; n++) {
    // To everybody, from address 0x2A, PGN 65226.
    await run('j1939cat', '-B', '-i', scene.path('dm1'), 'vcan3:0x2a', ':,0x0feca');
    await pause(1000);
  }
  await program.stop();
  const frames = framesOf(await other.stop());
  // BAM: 14 bytes in 2 parts of 7, of PGN 00FECA (J1939-21, 5.10.3).
  expect(frames.filter((frame) => /^1CECFF2A#200E0002FFCAFE00$/.test(frame))).toHaveLength(4);
  expect(frames.filter((frame) => /^1CEBFF2A#0[12]/.test(frame))).toHaveLength(8);
  expect(frames).toHaveLength(12);
  const told = storedEvents(scene.path('truck.db')).told.map(({ rule, subject, change }) => [rule, subject, change]);
  expect(told.filter(([rule]) => rule === 'fault-code').sort()).toEqual([
    ['fault-code', 'fault/main/42/117/18', 'raised'],
    ['fault-code', 'fault/main/42/118/18', 'raised'],
    ['fault-code', 'fault/main/42/639/14', 'raised'],
  ]);
});
