/**
 * `npm run licences`: every package that is installed with its licence, from its own package.json, without a network; and what
 * advisories are known, where the registry can be asked (`npm audit --json` on standard input). Ends with 1 when a licence is not allowed here, or an advisory is
 * about what the program runs on.
 */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { text } from 'node:stream/consumers';
import { fileURLToPath } from 'node:url';

/**
 * SPDX names of the licences under which others' code may come with ours (Apache-2.0) or build it: they ask for their text and
 * names to be kept, and for no more. A new one is read first and then added here.
 */
export const ALLOWED: ReadonlySet<string> = new Set([
  '0BSD',
  'Apache-2.0',
  'BlueOak-1.0.0',
  'BSD-2-Clause',
  'BSD-3-Clause',
  'ISC',
  'MIT',
  'MIT-0',
  // Asks for the source of its own files only; a test tool, not shipped.
  'MPL-2.0',
]);

export interface Installed {
  name: string;
  version: string;
  /** As the package says it; 'none' where it does not. */
  licence: string;
  /** Only for building and testing. */
  isDevelopment: boolean;
}

interface Lock {
  packages: Record<string, { version?: string; dev?: boolean; devOptional?: boolean }>;
}

/** Is there a way to take the package that is allowed? Knows `A OR B`, `A AND B` and brackets around the whole. */
export function isAllowed(expression: string): boolean {
  const inner = expression.trim().replace(/^\((.*)\)$/, '$1');
  if (inner.includes(' OR ')) return inner.split(' OR ').some(isAllowed);
  if (inner.includes(' AND ')) return inner.split(' AND ').every(isAllowed);
  return ALLOWED.has(inner);
}

/** Old packages have an object, or a list of them. */
export function licenceOf(manifest: { license?: unknown; licenses?: unknown }): string {
  const said = manifest.license ?? manifest.licenses;
  const all = (Array.isArray(said) ? said : [said]).map((one: unknown) =>
    typeof one === 'object' && one !== null ? (one as { type?: unknown }).type : one,
  );
  return all.every((one) => typeof one === 'string' && one !== '') ? all.join(' OR ') : 'none';
}

/** Every package of the lock file that is installed under `root`, by name. */
export function installedUnder(root: string): Installed[] {
  const lock = JSON.parse(readFileSync(join(root, 'package-lock.json'), 'utf8')) as Lock;
  return Object.entries(lock.packages)
    .filter(([path]) => path !== '' && existsSync(join(root, path, 'package.json')))
    .map(([path, { dev, devOptional }]) => {
      const manifest = JSON.parse(readFileSync(join(root, path, 'package.json'), 'utf8'));
      const { name, version } = manifest as { name: string; version: string };
      return { name, version, licence: licenceOf(manifest), isDevelopment: dev === true || devOptional === true };
    })
    .sort((a, b) => a.name.localeCompare(b.name) || a.version.localeCompare(b.version));
}

interface Audit {
  vulnerabilities?: Record<string, { severity: string; range: string }>;
}

/** Of what `npm audit --json` said: one line for each package; null: nobody could be asked. */
export function advisoriesIn(audit: string): string[] | null {
  try {
    const { vulnerabilities } = JSON.parse(audit) as Audit;
    if (vulnerabilities === undefined) return null;
    return Object.entries(vulnerabilities).map(([name, { severity, range }]) => `${name} ${range}: ${severity}`);
  } catch {
    return null;
  }
}

function main(root: string, audit: string): number {
  const packages = installedUnder(root);
  for (const { name, version, licence, isDevelopment } of packages) {
    console.log(`${licence.padEnd(24)} ${isDevelopment ? 'development' : 'runtime    '} ${name} ${version}`);
  }
  const refused = packages.filter(({ licence }) => !isAllowed(licence));
  for (const { name, licence } of refused) {
    console.error(`${name}: its licence (${licence}) is not allowed here: read it, then add it to scripts/licences.ts`);
  }
  const known = advisoriesIn(audit);
  if (known === null) console.error('advisories: the registry could not be asked');
  for (const line of known ?? []) console.error(`advisory: ${line}`);
  const runtime = packages.filter(({ isDevelopment }) => !isDevelopment).length;
  console.log(`${packages.length} packages, ${runtime} of them at run time; ${refused.length} licences not allowed`);
  return refused.length + (known ?? []).length > 0 ? 1 : 0;
}

// Compiled it lies in dist/scripts.
if (process.argv[1] === fileURLToPath(import.meta.url)) {
  process.exitCode = main(process.cwd(), await text(process.stdin));
}
