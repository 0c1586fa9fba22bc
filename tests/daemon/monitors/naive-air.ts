/** The leak test and the governor's cycles once more, written from their description: whole series in, lists out. */

export interface StandingSecond {
  primary: number;
  secondary: number;
  pedal: number;
  parked: number;
  suspension: number;
}

/** Senders' steps. */
const step = (kpa: number, size: number): number => Math.max(0, Math.round(kpa / size) * size);
const tenth = (x: number): number => Number(x.toFixed(1)) || 0;

/** A tick sees what was sent in the second before it: tick k sees second k - 1. Brakes are free 1.5 s after their release. */
const isFree = (pedals: readonly number[], tick: number): boolean =>
  pedals[tick - 1] === 0 && (tick < 2 || pedals[tick - 2] === 0);

/** Engine off throughout. [end s, circuit, seconds, fall kPa, kPa/min] of every test, circuit after circuit. */
export function naiveLeakTests(log: readonly StandingSecond[]): [number, string, number, number, number][] {
  const pedals = log.map((x) => x.pedal);
  const key = (tick: number): string => {
    const { parked, suspension } = log[tick - 1]!;
    return isFree(pedals, tick) ? `${parked} ${suspension}` : '';
  };
  const tests: [number, string, number, number, number][] = [];
  let from = 1;
  for (let tick = 2; tick <= log.length; tick++) {
    if (key(tick) === key(from)) continue;
    tests.push(...testsBetween(log, from, tick, key(from) !== ''));
    from = tick;
  }
  // What still goes on has only its whole pieces.
  tests.push(...testsBetween(log, from, log.length + 1, key(from) !== '').filter(([, , seconds]) => seconds === 300));
  return tests;
}

/** Steady from tick `from` until just before tick `to`. */
function testsBetween(
  log: readonly StandingSecond[],
  from: number,
  to: number,
  isSteady: boolean,
): [number, string, number, number, number][] {
  const points: number[] = [];
  for (let tick = from + 90; tick < to; tick += 5) points.push(tick);
  if (!isSteady) return [];
  const mean = (tick: number, circuit: 'primary' | 'secondary'): number => {
    let sum = 0;
    for (let k = tick - 4; k <= tick; k++) sum += step(log[k - 1]![circuit], 4);
    return sum / 5;
  };
  const tests: [number, string, number, number, number][] = [];
  for (let first = 0; first < points.length; first += 60) {
    const last = Math.min(first + 60, points.length - 1);
    const seconds = (last - first) * 5;
    if (seconds < 60) continue;
    for (const circuit of ['primary', 'secondary'] as const) {
      const fall = mean(points[first]!, circuit) - mean(points[last]!, circuit);
      tests.push([points[last]!, `air/${circuit}`, seconds, tenth(fall), tenth((fall * 60) / seconds)]);
    }
  }
  return tests;
}

export interface RunningSecond {
  supply: number;
  pumping: number;
  pedal: number;
}

/** Engine running throughout. [start s, cut-in, cut-out, seconds] of every cycle that is over. */
export function naiveCycles(log: readonly RunningSecond[]): [number, number | null, number, number][] {
  const pedals = log.map((x) => x.pedal);
  const kpa = (tick: number): number => step(log[tick - 1]!.supply, 8);
  const cycles: [number, number | null, number, number][] = [];
  let tick = 2;
  while (tick <= log.length) {
    if (log[tick - 1]!.pumping === 0) {
      tick++;
      continue;
    }
    const start = tick;
    let pumped = start;
    let end = start;
    // Over when it has not pumped for three seconds.
    while (end <= log.length && end - pumped < 3) {
      end++;
      if (log[end - 1]?.pumping === 1) pumped = end;
    }
    if (end > log.length) break;
    let peak = start;
    for (let k = start; k <= end; k++) if (kpa(k) > kpa(peak)) peak = k;
    const cutIn = cycles.length > 0 ? naiveCutIn(pedals, kpa, start) : null;
    cycles.push([start, cutIn, kpa(peak), Math.max(pumped, peak) - start]);
    tick = end + 1;
  }
  return cycles;
}

/** The latest lowest of the last forty seconds: not older than ten, and no air used from five seconds before it. */
function naiveCutIn(pedals: readonly number[], kpa: (tick: number) => number, start: number): number | null {
  if (start < 41) return null;
  const window = Array.from({ length: 41 }, (_, i) => start - 40 + i);
  const lowest = Math.min(...window.map(kpa));
  const valley = window.filter((k) => kpa(k) === lowest).at(-1)!;
  if (start - valley > 10) return null;
  for (let k = Math.max(1, valley - 5); k <= start; k++) if (k === 1 || !isFree(pedals, k)) return null;
  return lowest;
}
