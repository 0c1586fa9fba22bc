import { existsSync, readFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

/** Folder of the package, from the sources or from dist/. */
export function packageRoot(): string {
  let folder = dirname(fileURLToPath(import.meta.url));
  while (!existsSync(join(folder, 'package.json'))) {
    const parent = dirname(folder);
    if (parent === folder) throw new Error('package.json is not above this file');
    folder = parent;
  }
  return folder;
}

/** The truck file as a JSON Schema, for editors; made by `npm run schema`. */
export const schemaFile = (): string => join(packageRoot(), 'config/truck.schema.json');

/** The office file as a JSON Schema, for editors; made by `npm run schema`. */
export const officeSchemaFile = (): string => join(packageRoot(), 'config/office.schema.json');

/** The board as the build makes it: index.html and what it needs. */
export const pageFolder = (): string => join(packageRoot(), 'dist/office/page');

/** What draws a report in a browser, as the build makes it: report.js and report.css. */
export const reportPageFolder = (): string => join(packageRoot(), 'dist/report/page');

/** JSON Schemas of all messages and the AsyncAPI document; made by `npm run schema`. */
export const messagesFolder = (): string => join(packageRoot(), 'docs/messages');

export function packageVersion(): string {
  return (JSON.parse(readFileSync(join(packageRoot(), 'package.json'), 'utf8')) as { version: string }).version;
}
