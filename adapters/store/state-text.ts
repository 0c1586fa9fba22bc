import { deflateSync, inflateSync } from 'node:zlib';
import { StoreError } from './errors.js';

/**
 * The pipeline's state is some 120 KB of JSON and is written with each event and once a minute. Level 3 makes 17 KB of it in
 * a millisecond; level 9 makes 15 KB in more than twice the time (the demonstration shift).
 */
const LEVEL = 3;
/** More than any state; a broken row must not unpack to everything that memory holds. */
const MAX_STATE_BYTES = 64 * 1024 * 1024;

export function packState(text: string): Buffer {
  return deflateSync(text, { level: LEVEL });
}

/** Text as versions with schema 1 wrote it comes back as it is. Throws 'store-corrupt'. */
export function unpackState(stored: string | Buffer, path: string): string {
  if (typeof stored === 'string') return stored;
  try {
    return inflateSync(stored, { maxOutputLength: MAX_STATE_BYTES }).toString('utf8');
  } catch (error) {
    throw new StoreError('store-corrupt', `${path}: the stored state does not unpack`, { cause: error });
  }
}
