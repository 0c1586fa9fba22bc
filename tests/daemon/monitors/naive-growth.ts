/** Growing stroke once more, written from its description: the whole list of applications in, days until the limit out. */

export interface Pressed {
  /** Calendar time, ms, rising. */
  ms: number;
  /** Greatest stroke at 550 to 690 kPa. */
  mm: number;
}

const DAY = 86_400_000;
const micrometres = (mm: number): number => Math.round(mm * 1000);

/** A day begins with its first application and takes all that follow within 16 hours; its least stroke stands for it. */
function days(pressed: readonly Pressed[]): { ms: number; mm: number; n: number }[] {
  const out: { ms: number; all: number[] }[] = [];
  for (const { ms, mm } of pressed) {
    const last = out.at(-1);
    if (last === undefined || ms - last.ms >= (16 * DAY) / 24) out.push({ ms, all: [mm] });
    else last.all.push(mm);
  }
  return out.map(({ ms, all }) => ({ ms, mm: Math.min(...all), n: all.length }));
}

/** What counts after the last application: nothing from before an adjustment, nothing older than 28 days. */
function counted(pressed: readonly Pressed[]): { ms: number; mm: number; n: number }[] {
  let from = 0;
  for (let k = 1; k < pressed.length; k++) {
    const before = days(pressed.slice(from, k)).slice(-3);
    if (before.length === 3 && before.every((day) => micrometres(day.mm - pressed[k]!.mm) >= 6350)) from = k;
  }
  const now = pressed.at(-1)!.ms;
  return days(pressed.slice(from)).filter((day) => day.ms >= now - 28 * DAY);
}

/** Median of the slopes of all pairs, and Sen's interval (95 %), wider where neighbours are alike. mm per day. */
function sen(x: readonly number[], y: readonly number[]): { slope: number; low: number; high: number } {
  const n = x.length;
  const slopes = x
    .flatMap((a, i) => x.slice(i + 1).map((b, k) => (y[i + 1 + k]! - y[i]!) / (b - a)))
    .sort((a, b) => a - b);
  const middle = (list: readonly number[]): number => {
    const sorted = [...list].sort((a, b) => a - b);
    const half = sorted.length / 2;
    return sorted.length % 2 === 1 ? sorted[Math.floor(half)]! : (sorted[half - 1]! + sorted[half]!) / 2;
  };
  const slope = middle(slopes);
  const lines = y.map((v, i) => v - slope * (x[i]! - x[0]!));
  const residuals = lines.map((v) => v - middle(lines));
  const sum = (f: (i: number) => number): number => residuals.reduce((total, _, i) => total + f(i), 0);
  const square = sum((i) => residuals[i]! ** 2);
  const lag = sum((i) => (i === 0 ? 0 : residuals[i]! * residuals[i - 1]!));
  const rho = square > 0 ? Math.min(0.9, Math.max(0, lag / square)) : 0;
  const c = 1.96 * Math.sqrt((n * (n - 1) * (2 * n + 5)) / 18) * Math.sqrt((1 + rho) / (1 - rho));
  const at = (k: number): number => slopes[Math.max(0, Math.min(slopes.length - 1, Math.round(k)))]!;
  // Sen: of the slopes in rising order the M1-th and the (M2 + 1)-th, counted from one.
  return { slope, low: at((slopes.length - c) / 2 - 1), high: at((slopes.length + c) / 2) };
}

/** Days until the limit, early end; Infinity: it does not grow; null: too little to say. Judged after each application. */
export function naiveEarlyDays(pressed: readonly Pressed[], limitMm: number): number | null {
  const seen = counted(pressed).filter((day) => day.n >= 3);
  if (seen.reduce((total, day) => total + day.n, 0) < 20 || seen.length < 4) return null;
  const x = seen.map((day) => (day.ms - seen[0]!.ms) / DAY);
  const y = seen.map((day) => day.mm);
  const { slope, low, high } = sen(x, y);
  const last = x.at(-1)!;
  if (!(low > 1e-9) || micrometres(slope * last) < 4000) return Number.POSITIVE_INFINITY;
  const now = y.map((mm, i) => mm + slope * (last - x[i]!)).sort((a, b) => a - b);
  const half = now.length / 2;
  const level = now.length % 2 === 1 ? now[Math.floor(half)]! : (now[half - 1]! + now[half]!) / 2;
  return Math.min(365, Math.max(0, limitMm - level) / high);
}
