import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { constants, gunzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Axlepost } from './support/axlepost.js';
import { evenLog, linesOf, play } from './support/can.js';
import { Scene, truckText, until } from './support/scene.js';

/** A group that is of interest: no filter helps against this flood. */
const FRAME = '18FEF100#FFFFFFFFFFFFFFFF';
/** A bus at 250 kbit/s carries no more: 29-bit ids, 8 bytes, 131 bits each without stuffing. */
const FULL_250 = 1908;
const LOST = /frames came faster than they were taken and are lost/;

let scene: Scene;
beforeEach(() => {
  scene = new Scene();
});
afterEach(() => scene.end());

/** As a truck is set up, or as the kernel comes. A socket has the size that is in force when it is made. */
function buffers(size: 'deployed' | 'default'): void {
  const deployed = /^net.core.rmem_default = (\d+)$/m.exec(readFileSync('config/deploy/90-axlepost.conf', 'utf8'))![1]!;
  writeFileSync('/proc/sys/net/core/rmem_default', size === 'deployed' ? deployed : '212992');
}

async function listening(): Promise<Axlepost> {
  await scene.vcan('vcan6');
  const program = new Axlepost(scene, scene.write('truck.yaml', truckText(scene, { buses: { main: 'vcan6' } })));
  await program.listens(1);
  return program;
}

/** So many frames as fast as they go, none of which the program can take. */
async function whileItStands(program: Axlepost, count: number): Promise<void> {
  const log = scene.write('flood.log', evenLog(FRAME, count, FULL_250));
  process.kill(program.pid, 'SIGSTOP');
  await play(log, { can0: 'vcan6' }, '-t');
  process.kill(program.pid, 'SIGCONT');
}

/** What is on disk so far; the last file may still be written to. */
function recordedFrames(): number {
  const folder = scene.path('recordings');
  const names = readdirSync(folder).filter((name) => name.endsWith('.log.gz'));
  const textOf = (name: string): string =>
    gunzipSync(readFileSync(`${folder}/${name}`), { finishFlush: constants.Z_SYNC_FLUSH }).toString();
  return names.reduce((sum, name) => sum + linesOf(textOf(name)).length, 0);
}

/** A frame costs some thirty times more in this kernel than on metal: what waits is taken in seconds, not at once. */
async function untilTaken(count: number): Promise<void> {
  const latest = performance.now() + 60_000;
  await until(() => recordedFrames() >= count || performance.now() > latest);
}

describe('a flood of frames of interest', () => {
  it('at the rate of a full 250 kbit/s bus: nothing is lost, with store and recorder', async () => {
    buffers('deployed');
    const program = await listening();
    const count = 8 * FULL_250;
    await play(scene.write('flood.log', evenLog(FRAME, count, FULL_250)), { can0: 'vcan6' });
    await untilTaken(count);
    await program.stop();
    expect(recordedFrames()).toBe(count);
  });

  it('while the program stands still for two seconds of a full bus: the buffers of the deploy notes keep it all', async () => {
    buffers('deployed');
    const program = await listening();
    await whileItStands(program, 2 * FULL_250);
    await untilTaken(2 * FULL_250);
    await program.stop();
    expect(recordedFrames()).toBe(2 * FULL_250);
  });

  it('while the program stands still, with the kernel’s own buffers: what they could not keep is counted, to the frame', async () => {
    buffers('default');
    const program = await listening();
    const count = 5000;
    await whileItStands(program, count);
    const { lost } = await program.said(LOST);
    await program.stop();
    const recorded = recordedFrames();
    console.log(`a standstill: ${count} frames sent, ${recorded} received, ${lost} told as lost`);
    expect(lost).toBeGreaterThan(0);
    expect(recorded + (lost as number)).toBe(count);
  });
});
