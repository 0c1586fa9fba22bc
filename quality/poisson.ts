/** Of an interval that holds the true mean in 95 of 100 cases, each side leaves out so much. */
const TAIL = 0.025;
/** One-sided, for none at all: −ln 0.05, the "rule of three" (Hanley and Lippman-Hand, JAMA 1983). */
const NONE_AT_MOST = -Math.log(0.05);
const HALVINGS = 100;

/** Chance of at most k where `mean` are usual. */
function atMost(k: number, mean: number): number {
  let log = -mean;
  let sum = 0;
  for (let i = 0; i <= k; i += 1) {
    sum += Math.exp(log);
    log += Math.log(mean) - Math.log(i + 1);
  }
  return sum;
}

/** Where a falling function of the mean reaches a value. */
function meanWhere(chance: (mean: number) => number, value: number, most: number): number {
  let [low, high] = [0, most];
  for (let i = 0; i < HALVINGS; i += 1) {
    const middle = (low + high) / 2;
    if (chance(middle) > value) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/** 95 % bounds of the mean where `count` were seen: exact (Garwood, Biometrika 1936); above none, one-sided. */
export function boundsOf(count: number): { low: number; high: number } {
  if (count === 0) return { low: 0, high: NONE_AT_MOST };
  const most = 2 * count + 20;
  return {
    low: meanWhere((mean) => atMost(count - 1, mean), 1 - TAIL, most),
    high: meanWhere((mean) => atMost(count, mean), TAIL, most),
  };
}
