/** Brake applications once more, written from their description: the whole series in, the list out. */

/** What one frame says; all of one kind come from one sender. */
export interface Told {
  t: number;
  what: 'pedal' | 'switch' | 'pressure' | 'demanded';
  /** %, 0 or 1, kPa, kPa. */
  value: number;
}

export interface NaiveApplication {
  beganAt: number;
  endedAt: number;
  from: 'pedal' | 'switch' | 'pressure';
  peakKpa: number | null;
  meanKpa: number | null;
  qualifying: boolean;
}

const PROMISED_MS = { pedal: 100, switch: 100, pressure: 1000, demanded: 1000 };

type Picture = Partial<Record<Told['what'], { t: number; value: number }>>;

/** Until when what each frame says holds: three times the learned interval of its kind, at least 2 s, at most 10. */
function holdsUntil(series: readonly Told[]): number[] {
  const learned: Record<Told['what'], number> = { ...PROMISED_MS };
  return series.map(({ t, what }, k) => {
    const before = series.slice(0, k).findLast((x) => x.what === what);
    if (before !== undefined && t > before.t) learned[what] += (t - before.t - learned[what]) / 8;
    return t + Math.min(10_000, Math.max(2_000, 3 * learned[what]));
  });
}

/** What is known after each instant; ticks come before frames of the same millisecond. */
function pictures(series: readonly Told[], untilMs: number): { t: number; now: Picture }[] {
  const ticks = Array.from({ length: Math.floor(untilMs / 1000) }, (_, k) => ({ t: (k + 1) * 1000, frame: -1 }));
  const instants = [...ticks, ...series.map(({ t }, frame) => ({ t, frame }))].sort(
    (a, b) => a.t - b.t || a.frame - b.frame,
  );
  const holds = holdsUntil(series);
  const last: Partial<Record<Told['what'], number>> = {};
  return instants.map(({ t, frame }) => {
    if (frame >= 0) last[series[frame]!.what] = frame;
    const heard = Object.values(last).filter((k) => t <= holds[k]!);
    return { t, now: Object.fromEntries(heard.map((k) => [series[k]!.what, series[k]!])) };
  });
}

const kpaOf = (now: Picture): { t: number; value: number } | undefined => now.pressure ?? now.demanded;

const tellerOf = (now: Picture): NaiveApplication['from'] =>
  now.pedal !== undefined ? 'pedal' : now.switch !== undefined ? 'switch' : 'pressure';

/** Pedal from 5 % on, else switch, else pressure that reaches `kpa`; null: nobody says. */
function isPressed(now: Picture, kpa: number): boolean | null {
  if (now.pedal !== undefined) return now.pedal.value >= 5;
  if (now.switch !== undefined) return now.switch.value === 1;
  const pressure = kpaOf(now);
  return pressure === undefined ? null : pressure.value >= kpa;
}

/** All that were over, 1.5 s included, by `untilMs`. */
export function naiveApplications(series: readonly Told[], untilMs: number): NaiveApplication[] {
  const all = pictures(series, untilMs);
  const found: NaiveApplication[] = [];
  let from = 0;
  for (;;) {
    const begin = all.findIndex(({ now }, k) => k >= from && isPressed(now, 20) === true);
    if (begin < 0) return found;
    const end = endOf(all, begin);
    if (end < 0) return found;
    const { t: endSeen, now: atEnd } = all[end]!;
    const silent = isPressed(atEnd, 10) === null;
    const lastTold = Math.max(all[begin]!.t, ...series.filter((x) => x.t <= endSeen).map((x) => x.t));
    const endedAt = silent ? lastTold : endSeen;
    // What is told within 1.5 s still belongs to it, unless the brakes are pressed again.
    const next = all.findIndex(({ t, now }, k) => k > end && (t - endedAt > 1500 || isPressed(now, 20) === true));
    if (next < 0) return found;
    found.push(applicationOf(all, begin, end, next, endedAt));
    from = next;
  }
}

/** Below 10 kPa for half a second; a pedal or a switch says it at once; where nobody speaks, nothing goes on. */
function endOf(all: readonly { t: number; now: Picture }[], begin: number): number {
  let releasedAt = -1;
  for (let k = begin; k < all.length; k++) {
    const { t, now } = all[k]!;
    const pressed = isPressed(now, 10);
    if (pressed === true) {
      releasedAt = -1;
      continue;
    }
    if (releasedAt < 0) releasedAt = t;
    if (pressed === null || tellerOf(now) !== 'pressure' || t - releasedAt >= 500) return k;
  }
  return -1;
}

function applicationOf(
  all: readonly { t: number; now: Picture }[],
  begin: number,
  end: number,
  next: number,
  endedAt: number,
): NaiveApplication {
  const beganAt = all[begin]!.t;
  const span = all.slice(begin, next);
  const known = span.some(({ now }) => kpaOf(now) !== undefined);
  const told = (until: number): number[] => {
    const list = new Map<string, number>();
    for (const { now } of all.slice(begin, until)) {
      const kpa = kpaOf(now);
      if (kpa !== undefined && kpa.t >= beganAt) list.set(`${kpa.t} ${kpa.value}`, kpa.value);
    }
    return [...list.values()];
  };
  const peak = Math.max(0, ...told(next));
  const inside = told(end + 1);
  return {
    beganAt,
    endedAt,
    from: tellerOf(all[begin]!.now),
    peakKpa: known ? peak : null,
    meanKpa: inside.length > 0 ? inside.reduce((a, b) => a + b) / inside.length : null,
    qualifying: known ? peak >= 140 : endedAt - beganAt >= 1500,
  };
}
