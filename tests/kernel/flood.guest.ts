import { readdirSync, readFileSync } from 'node:fs';
import { gunzipSync } from 'node:zlib';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { Axlepost } from './support/axlepost.js';
import { evenLog, linesOf, play } from './support/can.js';
import { pause, Scene, truckText } from './support/scene.js';

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

async function listening(): Promise<Axlepost> {
  await scene.vcan('vcan6');
  const program = new Axlepost(scene, scene.write('truck.yaml', truckText(scene, { buses: { main: 'vcan6' } })));
  await program.listens(1);
  return program;
}

function recordedFrames(): number {
  const folder = scene.path('recordings');
  const names = readdirSync(folder).filter((name) => name.endsWith('.log.gz'));
  return names.reduce((sum, name) => sum + linesOf(gunzipSync(readFileSync(`${folder}/${name}`)).toString()).length, 0);
}

describe('a flood of frames of interest', () => {
  it('at the rate of a full 250 kbit/s bus: nothing is lost, with store and recorder', async () => {
    const program = await listening();
    const count = 8 * FULL_250;
    await play(scene.write('flood.log', evenLog(FRAME, count, FULL_250)), { can0: 'vcan6' });
    await pause(1000);
    await program.stop();
    expect(recordedFrames()).toBe(count);
  });

  it('while the program stands still for seconds: what the kernel could not keep is counted, to the frame', async () => {
    const program = await listening();
    const count = 5000;
    process.kill(program.pid, 'SIGSTOP');
    await play(scene.write('flood.log', evenLog(FRAME, count, 10 * FULL_250)), { can0: 'vcan6' }, '-t');
    process.kill(program.pid, 'SIGCONT');
    const { lost } = await program.said(LOST);
    await program.stop();
    const recorded = recordedFrames();
    console.log(`a standstill: ${count} frames sent, ${recorded} received, ${lost} told as lost`);
    expect(lost).toBeGreaterThan(0);
    expect(recorded + (lost as number)).toBe(count);
  });
});
