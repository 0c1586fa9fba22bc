import { createHash } from 'node:crypto';
import { readdirSync, readFileSync } from 'node:fs';
import { extname, join } from 'node:path';
import { WebStartError } from './errors.js';
import type { WebLimits } from './limits.js';

/** What a page may consist of. Other files of the folder, maps of sources say, are not served. */
const TYPES: Readonly<Record<string, string>> = {
  '.html': 'text/html; charset=utf-8',
  '.js': 'text/javascript; charset=utf-8',
  '.css': 'text/css; charset=utf-8',
  '.svg': 'image/svg+xml',
  '.png': 'image/png',
  '.ico': 'image/x-icon',
  '.webmanifest': 'application/manifest+json',
};

export interface PageFile {
  /** The path in the address, `/` for index.html. */
  url: string;
  type: string;
  etag: string;
  body: Buffer;
}

/** The page's files, read once; what is asked for later is looked up and never read. Throws a WebStartError when there is no page. */
export function readPages(folder: string, limits: Pick<WebLimits, 'pageFiles' | 'pageBytes'>): PageFile[] {
  const pages = namesIn(folder).map((name) => readPage(folder, name));
  if (!pages.some(({ url }) => url === '/')) {
    throw new WebStartError(`the board's page is not in ${folder}: no index.html; build it with npm run build`);
  }
  const bytes = pages.reduce((sum, { body }) => sum + body.length, 0);
  if (pages.length > limits.pageFiles || bytes > limits.pageBytes) {
    throw new WebStartError(`${folder} is no page of the board: ${pages.length} files with ${bytes} bytes`);
  }
  return pages;
}

function namesIn(folder: string): string[] {
  try {
    const files = readdirSync(folder, { withFileTypes: true }).filter((entry) => entry.isFile());
    return files.map(({ name }) => name).filter((name) => Object.hasOwn(TYPES, extname(name)));
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error);
    throw new WebStartError(`the board's page cannot be read: ${why}; build it with npm run build`);
  }
}

function readPage(folder: string, name: string): PageFile {
  const body = readFileSync(join(folder, name));
  return {
    url: name === 'index.html' ? '/' : `/${encodeURIComponent(name)}`,
    type: TYPES[extname(name)]!,
    etag: `"${createHash('sha256').update(body).digest('base64url')}"`,
    body,
  };
}

/** If-None-Match, compared weakly (RFC 9110, section 13.1.2). */
export const isUnchanged = (etag: string, ifNoneMatch = ''): boolean =>
  ifNoneMatch.split(',').some((one) => [etag, '*'].includes(one.trim().replace(/^W\//, '')));
