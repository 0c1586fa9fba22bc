/**
 * A second, deliberately plain reading of monitors.md, "Shared arithmetic", and of the books behind it. Nothing is shared with
 * the program.
 */

/** Ideal gas: count the moles in a liter of tire, and ask what they press with at the reference temperature. */
export function naiveCold(
  gaugeKpa: number,
  celsius: number,
  airKpa: number,
  referenceC: number,
  depotAirKpa: number,
): number {
  const R = 8.314462618;
  const pascal = (gaugeKpa + airKpa) * 1000;
  const moles = (pascal * 0.001) / (R * (celsius + 273.15));
  const coldPascal = (moles * R * (referenceC + 273.15)) / 0.001;
  return coldPascal / 1000 - depotAirKpa;
}

const middle = (values: readonly number[]): number => {
  const sorted = [...values].sort((a, b) => a - b);
  const n = sorted.length;
  return n % 2 === 1 ? sorted[(n - 1) / 2]! : (sorted[n / 2 - 1]! + sorted[n / 2]!) / 2;
};

/**
 * Sen's estimator and its 95 % limits (Sen 1968; as told in Gilbert, Statistical Methods for Environmental Pollution
 * Monitoring, 1987, 16.4.2, both from memory): of the N slopes in rising order the M1-th and the (M2 + 1)-th, M1 = (N − C)/2,
 * M2 = (N + C)/2, C = 1.96 √(n(n − 1)(2n + 5)/18); C widened by √((1+ρ)/(1−ρ)), ρ within 0…0.9.
 */
export function naiveTheilSen(
  at: readonly number[],
  values: readonly number[],
): [low: number, mid: number, high: number] {
  const points = at.map((x, i) => ({ x, y: values[i]! })).slice(-60);
  const n = points.length;
  const slopes = points.flatMap((p, i) => points.slice(i + 1).map((q) => (q.y - p.y) / (q.x - p.x)));
  const mid = middle(slopes);
  const left = points.map(({ x, y }) => y - mid * x);
  const errors = left.map((v) => v - middle(left));
  const power = errors.reduce((sum, e) => sum + e * e, 0);
  const lagged = errors.slice(1).reduce((sum, e, i) => sum + e * errors[i]!, 0);
  const rho = power === 0 ? 0 : Math.min(0.9, Math.max(0, lagged / power));
  const c = 1.96 * Math.sqrt((n * (n - 1) * (2 * n + 5)) / 18) * Math.sqrt((1 + rho) / (1 - rho));
  const ranked = [...slopes].sort((a, b) => a - b);
  const rank = (k: number): number => ranked[Math.min(ranked.length, Math.max(1, k)) - 1]!;
  const m1 = Math.round((slopes.length - c) / 2);
  const m2 = Math.round((slopes.length + c) / 2);
  return [rank(m1), mid, rank(m2 + 1)];
}

/** The fall beyond a harmless rate as the greatest sum of a run that ends now: no state is carried on. */
export function naiveFall(falls: readonly { fallKpa: number; minutes: number }[], allowedKpaPerMin: number): number {
  let most = 0;
  for (let from = 0; from < falls.length; from++) {
    const run = falls.slice(from);
    const lost = run.reduce((sum, f) => sum + f.fallKpa, 0);
    const allowed = run.reduce((sum, f) => sum + f.minutes * allowedKpaPerMin, 0);
    most = Math.max(most, lost - allowed);
  }
  return most;
}
