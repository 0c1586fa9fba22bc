import { existsSync } from 'node:fs';
import { fileURLToPath } from 'node:url';

/** This folder's way below the project root, the same under dist/ (tsconfig's rootDir is '.'). */
const FOLDER = 'adapters/store/';

/**
 * The file a worker thread can load. From compiled code it lies beside this one; tests run the TypeScript sources, which a
 * worker cannot load, so there it is the compiled counterpart. Throws when that has not been built.
 */
export function workerFile(name: string, from: string = import.meta.url): URL {
  if (!from.endsWith('.ts')) return new URL(`./${name}.js`, from);
  const file = new URL(`../../dist/${FOLDER}${name}.js`, from);
  if (!existsSync(file)) throw new Error(`${fileURLToPath(file)} is missing: run "npm run build" first`);
  return file;
}
