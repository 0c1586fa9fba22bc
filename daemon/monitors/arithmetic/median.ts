/** Median of the first n values of `values` (which is sorted in place); NaN of none. */
export function medianInPlace(values: number[], n: number = values.length): number {
  if (n === 0) return Number.NaN;
  values.length = n;
  values.sort((a, b) => a - b);
  const half = n >> 1;
  return n % 2 === 1 ? values[half]! : (values[half - 1]! + values[half]!) / 2;
}
