/** mulberry32: numbers in [0, 1) from a seed. */
export function seeded(seed: number): () => number {
  return () => {
    seed = (seed + 0x6d2b79f5) | 0;
    let t = Math.imul(seed ^ (seed >>> 15), 1 | seed);
    t = (t + Math.imul(t ^ (t >>> 7), 61 | t)) ^ t;
    return ((t ^ (t >>> 14)) >>> 0) / 4_294_967_296;
  };
}

export function shuffled<T>(items: readonly T[], random: () => number): T[] {
  const list = [...items];
  for (let n = list.length - 1; n > 0; n--) {
    const other = Math.floor(random() * (n + 1));
    [list[n], list[other]] = [list[other]!, list[n]!];
  }
  return list;
}
