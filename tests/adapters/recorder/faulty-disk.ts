import type { Disk } from '../../../adapters/recorder/disk.js';
import { quickDisk } from './live-run.js';

/** A disk that refuses or takes its time when it is told to, and knows what a power cut would leave. */
export class FaultyDisk implements Disk {
  /** Code of the error that every write gives. */
  refuses: string | null = null;
  /** What the refusal is about: everything, or sidecars alone. */
  only: 'replace' | 'remove' | null = null;
  /** Path → bytes that survive a power cut. */
  readonly durable = new Map<string, number>();
  #held: Promise<void> = Promise.resolve();
  #release: () => void = () => {};
  readonly #disk: Disk;

  constructor(disk: Disk = quickDisk) {
    this.#disk = disk;
  }

  /** Every write waits until `release`. */
  hold(): void {
    this.#held = new Promise((resolve) => {
      this.#release = resolve;
    });
  }

  release(): void {
    this.#release();
  }

  async makeFolder(path: string): Promise<void> {
    await this.#act();
    await this.#disk.makeFolder(path);
  }

  list(path: string): ReturnType<Disk['list']> {
    return this.#disk.list(path);
  }

  async create(path: string): ReturnType<Disk['create']> {
    await this.#act();
    const file = await this.#disk.create(path);
    let bytes = 0;
    this.durable.set(path, 0);
    return {
      append: async (more) => {
        await this.#act();
        await file.append(more);
        bytes += more.length;
      },
      sync: async () => {
        await this.#act();
        this.durable.set(path, bytes);
      },
      close: () => file.close(),
    };
  }

  async replace(path: string, text: string): Promise<void> {
    await this.#act('replace');
    await this.#disk.replace(path, text);
  }

  read(path: string): Promise<string> {
    return this.#disk.read(path);
  }

  readHead(path: string, bytes: number): Promise<string> {
    return this.#disk.readHead(path, bytes);
  }

  async remove(path: string): Promise<void> {
    await this.#act('remove');
    await this.#disk.remove(path);
  }

  async #act(what: FaultyDisk['only'] = null): Promise<void> {
    await this.#held;
    if (this.refuses === null || (this.only !== null && this.only !== what)) return;
    throw Object.assign(new Error(`${this.refuses}: refused`), { code: this.refuses });
  }
}
