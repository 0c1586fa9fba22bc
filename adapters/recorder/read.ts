import { readdir, readFile } from 'node:fs/promises';
import { basename, join } from 'node:path';
import type { Problem } from '../can/problem.js';
import { inOrderOfTime, LOG_END, parseSegmentName, SIDECAR_END, withoutEnd } from './names.js';
import { type Sidecar, sidecarSchema } from './sidecar.js';

/** A sidecar has some 30 KB. */
const MOST_BYTES = 16e6;

/** Logs in a folder of recordings, oldest first; other files are let be. Rejects when it cannot be read. */
export async function recordingsIn(folder: string): Promise<string[]> {
  const places = (await readdir(folder)).flatMap((file) => {
    const name = withoutEnd(file, LOG_END);
    const place = name === null ? null : parseSegmentName(name);
    return place === null ? [] : [{ file, place }];
  });
  return places.sort((a, b) => inOrderOfTime(a.place, b.place)).map(({ file }) => join(folder, file));
}

/** Where the sidecar of a log is, if it has one: beside it, also when it was unpacked; null for names that no log has. */
export function sidecarPath(log: string): string | null {
  const name = withoutEnd(log, LOG_END) ?? withoutEnd(log, LOG_END.replace('.gz', ''));
  return name === null || basename(name) === '' ? null : name + SIDECAR_END;
}

export interface FoundSidecar {
  path: string;
  /** null: it cannot be used, and the problem says why. */
  sidecar: Sidecar | null;
  problem: Problem | null;
}

/** The sidecar beside a log; null: there is none. Never rejects. */
export async function findSidecar(log: string): Promise<FoundSidecar | null> {
  const path = sidecarPath(log);
  if (path === null) return null;
  const unusable = (text: string, hint = 'the log is read without it'): FoundSidecar => ({
    ...{ path, sidecar: null, problem: { line: null, column: null, text, hint } },
  });
  let text: string;
  try {
    text = await readFile(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    return code === 'ENOENT' ? null : unusable(`cannot be read (${code})`);
  }
  if (text.length > MOST_BYTES) return unusable('is too long for the sidecar of a recording');
  let tree: unknown;
  try {
    tree = JSON.parse(text);
  } catch {
    return unusable('is no JSON; it may be cut short');
  }
  const version = (tree as { v?: unknown } | null)?.v;
  if (typeof version === 'number' && version > 1) return unusable('was written by a newer version');
  const parsed = sidecarSchema.safeParse(tree);
  if (parsed.success) return { path, sidecar: parsed.data, problem: null };
  const at = parsed.error.issues[0]?.path.join('.') ?? '';
  return unusable(`is not the sidecar of a recording${at === '' ? '' : ` (${at})`}`);
}
