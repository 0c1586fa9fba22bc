/** The seed of a property test: printed, so that a failure can be repeated with AXLEPOST_SEED. */
export function printedSeed(name: string): number {
  const given = process.env.AXLEPOST_SEED;
  const seed = given === undefined ? Math.floor(Math.random() * 2 ** 31) : Number(given);
  console.log(`${name}: seed ${seed}`);
  return seed;
}
