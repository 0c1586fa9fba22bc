import { type FileHandle, mkdir, open, readdir, readFile, rename, stat, unlink } from 'node:fs/promises';
import { dirname, join } from 'node:path';

export interface DiskFile {
  append(bytes: Uint8Array): Promise<void>;
  /** What was appended survives a power cut. */
  sync(): Promise<void>;
  close(): Promise<void>;
}

/** What the recorder asks of a disk; tests put slow and full ones in its place. Every call may reject. */
export interface Disk {
  makeFolder(path: string): Promise<void>;
  /** Ordinary files in a folder. */
  list(path: string): Promise<{ name: string; bytes: number }[]>;
  /** Rejects when the file is there. */
  create(path: string): Promise<DiskFile>;
  /** The file has the old text or the new one, never a part, also after a power cut. */
  replace(path: string, text: string): Promise<void>;
  read(path: string): Promise<string>;
  /** At most so many bytes from the beginning. */
  readHead(path: string, bytes: number): Promise<string>;
  /** No complaint when it is gone already. */
  remove(path: string): Promise<void>;
}

/** Recordings say where the truck was: for the service's own user alone. */
const OWNER_ONLY = 0o600;

/** What a file is called until it is complete. */
export const UNFINISHED = '.tmp';

export const hostDisk: Disk = {
  makeFolder: async (path) => void (await mkdir(path, { recursive: true, mode: 0o700 })),
  list: async (path) => {
    const names = await readdir(path, { withFileTypes: true });
    const files = names.filter((entry) => entry.isFile()).map(({ name }) => name);
    return Promise.all(files.map(async (name) => ({ name, bytes: (await stat(join(path, name))).size })));
  },
  create: async (path) => new HostFile(await open(path, 'wx', OWNER_ONLY)),
  replace: async (path, text) => {
    const unfinished = path + UNFINISHED;
    await withFile(unfinished, 'w', async (file) => {
      await file.writeFile(text);
      await file.sync();
    });
    await rename(unfinished, path);
    await withFile(dirname(path), 'r', (folder) => folder.sync());
  },
  read: (path) => readFile(path, 'utf8'),
  readHead: (path, bytes) =>
    withFile(path, 'r', async (file) => {
      const { bytesRead, buffer } = await file.read(Buffer.alloc(bytes), 0, bytes, 0);
      return buffer.toString('latin1', 0, bytesRead);
    }),
  remove: async (path) => {
    await unlink(path).catch((error: NodeJS.ErrnoException) => {
      if (error.code !== 'ENOENT') throw error;
    });
  },
};

async function withFile<T>(path: string, flags: string, use: (file: FileHandle) => Promise<T>): Promise<T> {
  const file = await open(path, flags, OWNER_ONLY);
  try {
    return await use(file);
  } finally {
    await file.close();
  }
}

class HostFile implements DiskFile {
  readonly #file: FileHandle;

  constructor(file: FileHandle) {
    this.#file = file;
  }

  async append(bytes: Uint8Array): Promise<void> {
    for (let at = 0; at < bytes.length; ) at += (await this.#file.write(bytes, at)).bytesWritten;
  }

  sync(): Promise<void> {
    return this.#file.datasync();
  }

  close(): Promise<void> {
    return this.#file.close();
  }
}
