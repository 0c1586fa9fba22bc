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

const tellerOf = (now: Picture): NaiveApplication['from'] => (now.pedal !== undefined ? 'pedal' : 'switch');

/** Pedal from 5 % on, else switch; null: neither is told. */
function footOf(now: Picture): boolean | null {
  if (now.pedal !== undefined) return now.pedal.value >= 5;
  return now.switch === undefined ? null : now.switch.value === 1;
}

interface Instant {
  t: number;
  now: Picture;
}

/** Told three seconds or more after the foot has left the pedal: a hand valve, or a driver assistance system. */
function isAlone(all: readonly Instant[], k: number): boolean {
  const kpa = kpaOf(all[k]!.now)!;
  const pressed = all.slice(0, k + 1).findLast(({ now }) => footOf(now) === true);
  return pressed === undefined || kpa.t - pressed.t >= 3000;
}

/** The foot tells, and where it does not press, pressure: from 20 kPa on without pedal and switch, from 140 with them. null: nobody says. */
function begins(all: readonly Instant[], k: number): boolean | null {
  const { now } = all[k]!;
  const foot = footOf(now);
  const kpa = kpaOf(now);
  if (foot === true || kpa === undefined) return foot;
  return foot === null ? kpa.value >= 20 : kpa.value >= 140 && isAlone(all, k);
}

/** Does one that pressure, or the foot, has begun go on? */
function goesOn(all: readonly Instant[], k: number, byPressure: boolean): boolean | null {
  const { now } = all[k]!;
  const foot = footOf(now);
  const kpa = kpaOf(now);
  if (foot === true || kpa === undefined) return foot;
  if (foot === null) return kpa.value >= 10;
  return isAlone(all, k) && kpa.value >= (byPressure ? 10 : 140);
}

/** All that were over, 1.5 s included, by `untilMs`. */
export function naiveApplications(series: readonly Told[], untilMs: number): NaiveApplication[] {
  const all = pictures(series, untilMs);
  const found: NaiveApplication[] = [];
  let from = 0;
  for (;;) {
    const begin = all.findIndex((_, k) => k >= from && begins(all, k) === true);
    if (begin < 0) return found;
    const end = endOf(all, begin);
    if (end < 0) return found;
    const { t: endSeen, now: atEnd } = all[end]!;
    const silent = footOf(atEnd) === null && kpaOf(atEnd) === undefined;
    const lastTold = Math.max(all[begin]!.t, ...series.filter((x) => x.t <= endSeen).map((x) => x.t));
    const endedAt = silent ? lastTold : endSeen;
    // What is told within 1.5 s still belongs to it, unless the brakes are pressed again.
    const next = all.findIndex(({ t }, k) => k > end && (t - endedAt > 1500 || begins(all, k) === true));
    if (next < 0) return found;
    found.push(applicationOf(all, begin, end, next, endedAt));
    from = next;
  }
}

/** Below 10 kPa for half a second; a pedal or a switch says it at once; where nobody speaks, nothing goes on. */
function endOf(all: readonly Instant[], begin: number): number {
  const byPressure = footOf(all[begin]!.now) !== true;
  let releasedAt = -1;
  for (let k = begin; k < all.length; k++) {
    const { t, now } = all[k]!;
    const pressed = goesOn(all, k, byPressure);
    if (pressed === true) {
      releasedAt = -1;
      continue;
    }
    if (releasedAt < 0) releasedAt = t;
    const asked = byPressure || footOf(now) === null;
    if (pressed === null || !asked || t - releasedAt >= 500) return k;
  }
  return -1;
}

function applicationOf(
  all: readonly Instant[],
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
    from: footOf(all[begin]!.now) === true ? tellerOf(all[begin]!.now) : 'pressure',
    peakKpa: known ? peak : null,
    meanKpa: inside.length > 0 ? inside.reduce((a, b) => a + b) / inside.length : null,
    qualifying: known ? peak >= 140 : endedAt - beganAt >= 1500,
  };
}
