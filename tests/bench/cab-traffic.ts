import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';
import { BASE_PGNS, interestTable } from '../../daemon/j1939/interest.js';
import { parseScenario } from '../../simulator/scenario.js';
import { simulateFrames } from '../../simulator/shift.js';
import type { Traffic } from './cab-file.js';

/**
 * A part of the demonstration shift, only what is of interest (the kernel's filters let nothing else through), each frame `times`
 * over so that a bus can be filled with messages of the same shape.
 */
export function shiftTraffic(fromMs: number, toMs: number, times = 1): Traffic {
  const path = 'simulator/shifts/morning-run.yaml';
  const scenario = parseScenario(readFileSync(join(packageRoot(), path), 'utf8'), path);
  const interest = interestTable(BASE_PGNS);
  const frames: { t: number; id: number; data: Uint8Array }[] = [];
  for (const { t, id, data } of simulateFrames(scenario)) {
    if (t >= toMs) break;
    if (t >= fromMs && interest[(id >>> 8) & 0x3ffff]! > 0) frames.push({ t: t - fromMs, id, data });
  }
  const count = frames.length * times;
  const traffic: Traffic = {
    count,
    t: new Float64Array(count),
    id: new Uint32Array(count),
    data: new Uint8Array(8 * count).fill(0xff),
    length: new Uint8Array(count),
    spanMs: toMs - fromMs,
  };
  for (let i = 0; i < count; i++) {
    const { t, id, data } = frames[Math.floor(i / times)]!;
    traffic.t[i] = t;
    traffic.id[i] = id;
    traffic.data.set(data, 8 * i);
    traffic.length[i] = data.length;
  }
  return traffic;
}
