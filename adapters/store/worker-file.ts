import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { packageRoot } from '../../config/package.js';

/**
 * The bundled file that a worker thread loads. Always that of dist/: tests run the TypeScript sources, which a worker
 * cannot load. Throws when it has not been built.
 */
export function workerFile(name: string): string {
  const file = join(packageRoot(), 'dist/workers', `${name}.js`);
  if (!existsSync(file)) throw new Error(`${file} is missing: run "npm run build" first`);
  return file;
}
