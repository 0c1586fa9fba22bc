import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { mkdir, mkdtemp, open, readFile, rm } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import type { Readable } from 'node:stream';
import { constants, createGunzip, gunzipSync } from 'node:zlib';
import { extract } from 'tar-stream';
import { recordingsIn } from '../recorder/read.js';
import {
  CONFIG,
  DATABASE,
  MANIFEST,
  type Manifest,
  type ManifestEntry,
  manifestSchema,
  RECORDINGS,
} from './manifest.js';

export interface OpenArchive {
  /** Logs in the order of time, each with its sidecar beside it if it had one. Paths in a folder of their own. */
  recordings: string[];
  /** The database's copy, or null. */
  database: string | null;
  /** The truck file as it was understood, JSON, or null. */
  config: string | null;
  /** null: there is none, or it is not ours. */
  manifest: Manifest | null;
  /** What is wrong with the archive, one line each; what was found is used. */
  problems: string[];
  /** Takes the unpacked files away. */
  close(): Promise<void>;
}

/** Limits against archives that are made to fill a disk: several times what a truck can hold. */
export const LIMITS = { entries: 20_000, bytes: 4e9 } as const;
/** Of a file, to see what it is: one header, packed or not. */
const HEAD_BYTES = 1024;
/** Long enough for every name that `pack` writes; no folder within a folder, nothing hidden, nothing upwards. */
const NAME = /^(?:(?:config|database|recordings)\/)?[A-Za-z0-9_][A-Za-z0-9._-]{0,120}$/;

/** What can be unpacked of a file's beginning; the beginning itself where it is not packed. */
function unpackedHead(head: Buffer): Buffer {
  if (head[0] !== 0x1f || head[1] !== 0x8b) return head;
  try {
    return gunzipSync(head, { finishFlush: constants.Z_SYNC_FLUSH });
  } catch {
    return Buffer.alloc(0);
  }
}

/** Is it a tar file, plain or gzipped, by its first bytes? `ustar` stands at 257 (POSIX.1-2017, pax, "ustar Interchange Format"). */
export async function isArchive(path: string): Promise<boolean> {
  if (path === '-') return false;
  const file = await open(path, 'r').catch(() => null);
  if (file === null) return false;
  try {
    const { bytesRead, buffer } = await file.read(Buffer.alloc(HEAD_BYTES), 0, HEAD_BYTES, 0);
    return unpackedHead(buffer.subarray(0, bytesRead)).toString('latin1', 257, 262) === 'ustar';
  } finally {
    await file.close();
  }
}

/**
 * Unpacks an archive of `pack` into a folder of its own. Nothing is written outside of it, links and unknown names are left
 * out and told. Rejects when the file cannot be read at all, or holds more than LIMITS; then nothing is left behind.
 * @param folder in which the unpacked files get theirs; default: the system's for temporary files
 */
export async function openArchive(
  path: string,
  { folder = tmpdir(), limits = LIMITS }: { folder?: string; limits?: { entries: number; bytes: number } } = {},
): Promise<OpenArchive> {
  const into = await mkdtemp(join(folder, 'axlepost-archive-'));
  const close = () => rm(into, { recursive: true, force: true });
  try {
    const unpacked = await unpack(path, into, limits);
    const manifest = unpacked.found.has(MANIFEST) ? await readManifest(join(into, MANIFEST)) : null;
    const has = (name: string): string | null => (unpacked.found.has(name) ? join(into, name) : null);
    return {
      recordings: await recordingsIn(join(into, RECORDINGS)).catch(() => []),
      database: has(DATABASE),
      config: has(CONFIG),
      manifest,
      problems: [...unpacked.problems, ...differences(manifest, unpacked.found)],
      close,
    };
  } catch (error) {
    await close();
    throw error;
  }
}

interface Unpacked {
  /** By name: what the entry is in truth. */
  found: Map<string, ManifestEntry>;
  problems: string[];
}

async function unpack(path: string, into: string, limits: { entries: number; bytes: number }): Promise<Unpacked> {
  const found = new Map<string, ManifestEntry>();
  const problems: string[] = [];
  const tar = extract();
  const unzip = (await isGzip(path)) ? createGunzip() : null;
  const source = createReadStream(path);
  const stop = (error: Error): void => {
    tar.destroy(error);
  };
  source.on('error', stop);
  unzip?.on('error', stop);
  (unzip === null ? source : source.pipe(unzip)).pipe(tar);
  let entries = 0;
  let bytes = 0;
  try {
    for await (const entry of tar) {
      const { name, type, size = 0 } = entry.header;
      entries += 1;
      bytes += size;
      if (entries > limits.entries || bytes > limits.bytes) throw new TooMuch(path, limits);
      const why = unwanted(name, type ?? null, found);
      if (why !== null) {
        problems.push(`${shown(name)}: ${why}; it is left out`);
        entry.resume();
      } else found.set(name, await save(entry as unknown as Readable, name, into));
    }
  } catch (error) {
    if (error instanceof TooMuch || found.size === 0) throw error;
    problems.push(`the archive is damaged or cut short (${(error as Error).message}); what came before is used`);
  } finally {
    source.destroy();
    unzip?.destroy();
  }
  return { found, problems };
}

class TooMuch extends Error {
  constructor(path: string, { entries, bytes }: { entries: number; bytes: number }) {
    super(`${path}: more than ${entries} files or ${bytes} bytes; no truck makes such an archive`);
  }
}

function unwanted(name: string, type: string | null, found: ReadonlyMap<string, unknown>): string | null {
  if (type !== 'file' && type !== 'contiguous-file') return `a ${type ?? 'thing of an unknown kind'} and no file`;
  if (!NAME.test(name)) return 'not a name of this program';
  return found.has(name) ? 'it is there twice' : null;
}

const shown = (name: string): string => JSON.stringify(name.slice(0, 80));

async function save(entry: Readable, name: string, into: string): Promise<ManifestEntry> {
  const path = join(into, name);
  await mkdir(dirname(path), { recursive: true });
  const hash = createHash('sha256');
  let bytes = 0;
  const file = await open(path, 'wx', 0o600);
  try {
    for await (const chunk of entry as AsyncIterable<Buffer>) {
      hash.update(chunk);
      bytes += chunk.length;
      await file.writeFile(chunk);
    }
  } finally {
    await file.close();
  }
  return { name, bytes, sha256: hash.digest('hex') };
}

async function isGzip(path: string): Promise<boolean> {
  const file = await open(path, 'r');
  try {
    const head = Buffer.alloc(2);
    await file.read(head, 0, 2, 0);
    return head[0] === 0x1f && head[1] === 0x8b;
  } finally {
    await file.close();
  }
}

async function readManifest(path: string): Promise<Manifest | null> {
  try {
    return manifestSchema.parse(JSON.parse(await readFile(path, 'utf8')));
  } catch {
    return null;
  }
}

/** What the manifest says otherwise than what was found. */
function differences(manifest: Manifest | null, found: ReadonlyMap<string, ManifestEntry>): string[] {
  if (manifest === null) return ['the archive has no list of its files (MANIFEST.json): it may be cut short'];
  return manifest.entries.flatMap(({ name, sha256 }) => {
    const one = found.get(name);
    if (one === undefined) return [`${shown(name)}: is missing`];
    return one.sha256 === sha256 ? [] : [`${shown(name)}: is not what was packed (its checksum differs)`];
  });
}
