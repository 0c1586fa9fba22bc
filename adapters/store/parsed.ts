import { StoreError } from './errors.js';

/** JSON as this program wrote it; anything else means that the file was changed or broken (pages have no checksums). */
export function parsed<T>(text: string, path: string): T {
  try {
    return JSON.parse(text) as T;
  } catch (error) {
    throw new StoreError('store-corrupt', `${path}: stored JSON does not parse`, { cause: error });
  }
}
