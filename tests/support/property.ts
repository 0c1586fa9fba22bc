import fc from 'fast-check';
import { SEED } from './seed.js';

/** fast-check with the seed of these tests; a failure prints what shows it again. */
fc.configureGlobal({ seed: Number(process.env.AXLEPOST_SEED ?? SEED) });

export default fc;
