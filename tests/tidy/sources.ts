import { readdirSync, readFileSync } from 'node:fs';
import { dirname, join, normalize } from 'node:path';

/** Folders of the program itself; tests are not held to all of its rules. */
export const PRODUCT = ['daemon', 'adapters', 'config', 'simulator', 'quality', 'office', 'report', 'scripts'] as const;

export interface Import {
  /** Path from the project's root with `.ts`, or the name of a package. */
  target: string;
  /** Only types: nothing of it is there when the program runs. */
  typeOnly: boolean;
}

/** Paths from the project's root, of files whose name ends so. */
export function filesIn(folder: string, end: string): string[] {
  return readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .map((path) => join(folder, path))
    .filter((path) => path.endsWith(end))
    .sort();
}

export const productFiles = (): string[] =>
  PRODUCT.flatMap((folder) => [...filesIn(folder, '.ts'), ...filesIn(folder, '.tsx')]);

export const read = (path: string): string => readFileSync(path, 'utf8');

/** The pure part: what the import border and the ban on clocks are about. */
export const isCore = (path: string): boolean =>
  path.startsWith('office/core/') ||
  /^report\/(?!page\/)/.test(path) ||
  (path.startsWith('daemon/') && !path.startsWith('daemon/commands/') && path !== 'daemon/cli.ts');

/** The text without comments and strings, so that words in them count for nothing; lines stay where they are. */
export function codeOf(text: string): string {
  const blank = (found: string): string => found.replace(/[^\n]/g, ' ');
  return text.replace(/\/\*[\s\S]*?\*\/|\/\/[^\n]*|'(?:\\.|[^'\\\n])*'|"(?:\\.|[^"\\\n])*"/g, blank);
}

/** Every import and re-export of a file, also those that are asked for while the program runs. */
export function importsOf(path: string): Import[] {
  const text = read(path);
  const found: Import[] = [];
  const resolve = (name: string): string =>
    name.startsWith('.') ? normalize(join(dirname(path), name)).replace(/\.js$/, '.ts') : name;
  for (const [, type, names, name] of text.matchAll(/^(?:import|export)( type)?\s+([^;]*?)\s*from\s+'([^']+)'/gm)) {
    found.push({ target: resolve(name!), typeOnly: type !== undefined || allTypes(names!) });
  }
  for (const [, name] of text.matchAll(/^import\s+'([^']+)'/gm))
    found.push({ target: resolve(name!), typeOnly: false });
  for (const [, name] of text.matchAll(/\b(?:import|require)\(\s*'([^']+)'\s*\)/g)) {
    found.push({ target: resolve(name!), typeOnly: false });
  }
  return found;
}

/** `{ type A, type B }` */
function allTypes(names: string): boolean {
  const list = /^\{([\s\S]*)\}$/.exec(names)?.[1];
  if (list === undefined) return false;
  const each = list.split(',').filter((one) => one.trim() !== '');
  return each.every((one) => one.trim().startsWith('type '));
}
