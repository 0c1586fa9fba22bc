/** The same each time: a failure is one of the change, not of the day. Other chances: AXLEPOST_SEED, or `npm run faults`. */
export const SEED = 1;

/** The seed of a property test: printed, so that a failure can be repeated with AXLEPOST_SEED. */
export function printedSeed(name: string): number {
  const seed = Number(process.env.AXLEPOST_SEED ?? SEED);
  console.log(`${name}: seed ${seed}`);
  return seed;
}
