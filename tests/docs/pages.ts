import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';

const SKIPPED = new Set(['node_modules', 'dist', 'coverage', '.git']);

/** Every Markdown page of the project. */
export function pages(folder = '.'): string[] {
  return readdirSync(folder, { withFileTypes: true }).flatMap((entry) => {
    const path = join(folder, entry.name);
    if (entry.isDirectory()) return SKIPPED.has(entry.name) ? [] : pages(path);
    return entry.name.endsWith('.md') ? [path] : [];
  });
}

export const page = (path: string): string => readFileSync(path, 'utf8');

/** The text under a heading, up to the next one of its level or above. */
export function section(path: string, heading: string): string {
  const lines = page(path).split('\n');
  const start = lines.indexOf(heading);
  if (start < 0) throw new Error(`${path} has no "${heading}"`);
  const level = heading.indexOf(' ');
  const end = lines.findIndex((line, i) => i > start && new RegExp(`^#{1,${level}} `).test(line));
  return lines.slice(start + 1, end < 0 ? undefined : end).join('\n');
}

/** Cells of the table rows in a text, without its heading. */
export function tableRows(text: string): string[][] {
  const rows = text.split('\n').filter((line) => line.startsWith('|'));
  return rows.slice(2).map((row) =>
    row
      .split('|')
      .slice(1, -1)
      .map((cell) => cell.trim()),
  );
}

/** Contents of the fenced blocks of a language. */
export function blocks(text: string, language: string): string[] {
  return [...text.matchAll(/^ *```(\w*)\n([\s\S]*?)^ *```/gm)].flatMap(([, found, body]) =>
    found === language ? [body!] : [],
  );
}

/** What stands in backticks. */
export const ticked = (text: string): string[] => [...text.matchAll(/`([^`\n]+)`/g)].map(([, inside]) => inside!);
