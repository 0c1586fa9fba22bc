import { readFileSync } from 'node:fs';
import type { SecretPlace } from '../../config/resolved.js';

const STARS = '***';
/** Shorter than this a word stands in many places that have nothing to do with it. */
const SHORTEST = 4;

/** The secret itself, to look for where it must not be; null when it cannot be had here (then it cannot be in what is read here). */
export function secretAt(place: SecretPlace | null): string | null {
  if (place === null) return null;
  if ('env' in place) return process.env[place.env] ?? null;
  try {
    return readFileSync(place.file, 'utf8').trim();
  } catch {
    return null;
  }
}

/** Text without the secrets that are known. */
export function withoutSecrets(text: string, secrets: readonly string[]): string {
  return secrets.reduce((clean, secret) => (secret.length < SHORTEST ? clean : clean.replaceAll(secret, STARS)), text);
}

/**
 * Text of a configuration file as people write it, also without what may be a secret: the user part of an address, and the
 * value of a `password` written out where only its place belongs. Comments are text like any other.
 */
export function scrubbed(text: string, secrets: readonly string[]): string {
  const addresses = text.replace(/([a-z][a-z0-9+.-]*:\/\/)[^\s/@"']*@/gi, `$1${STARS}@`);
  const passwords = addresses.replace(/(\bpassword["']?\s*[:=][ \t]*)(?![\s{#]|$)[^\n]*/gi, `$1${STARS}`);
  return withoutSecrets(passwords, secrets);
}
