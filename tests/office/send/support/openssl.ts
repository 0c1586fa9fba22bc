import { opensslIsInstalled } from '../../../adapters/mqtt/authority.js';

const isNeeded = process.env.CI === 'true';
if (!opensslIsInstalled && !isNeeded) console.warn('skipped: openssl is not installed; CI needs it');

/** Certificates of our own are made with it, and it is a second opinion on signatures. */
export const withoutOpenssl = !opensslIsInstalled && !isNeeded;
