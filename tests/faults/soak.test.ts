import { existsSync, mkdtempSync, readdirSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import type { OfficeInbox } from '../../adapters/mqtt/office-inbox.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import { Session } from '../../daemon/commands/session.js';
import { makeId } from '../../daemon/j1939/identifier.js';
import type { Plain } from '../../daemon/state.js';
import { FLEET, makeBroker, makeInbox, QUICK, TRUCK, testClock } from '../adapters/mqtt/harness.js';
import { DAY_MS, optionsIn } from '../adapters/store/helpers.js';
import { drive, troubled } from '../support/drive.js';
import type { Frame } from '../support/rig.js';
import { truckOf } from '../support/truck-file.js';
import { heldBytes } from './support/memory.js';
import { FaultRow, isFull, type Round } from './support/row.js';

const HOURS = isFull ? 24 : 2;
const MB = 1024 * 1024;
const MAX_STORE = 8 * MB;
const MAX_WAL = 16 * MB;
const MAX_STATE = 400_000;
const GROWTH = 12 * MB;
const FILES = 8;
const LAP_S = 2_400;
const PROC = '/proc/self/fd';
const lap: readonly Frame[] = [...drive(0, LAP_S, troubled)];

const folders: string[] = [];
afterAll(() => {
  for (const folder of folders) rmSync(folder, { recursive: true, force: true });
});

interface Life {
  session: Session;
  store: Store;
  publisher: Publisher;
}

/** One truck whose program is ended and started again, whose broker comes and goes, and whose bus is not what it should be. */
class Soak {
  readonly round: Round;
  readonly folder = mkdtempSync(join(tmpdir(), 'axlepost-soak-'));
  readonly seen = new Set<number>();
  inbox!: OfficeInbox;
  #received = 0;
  #rev = 0;
  broker!: Awaited<ReturnType<typeof makeBroker>>;
  life!: Life;
  wall = Date.parse('2026-03-02T08:00:00Z');
  nowMs = 0;
  restarts = 0;
  frames = 0;
  mostWal = 0;
  mostFile = 0;
  mostState = 0;

  constructor(round: Round) {
    this.round = round;
    folders.push(this.folder);
  }

  async start(): Promise<void> {
    const run = { zeroWallMs: this.wall, synced: this.round.below(4) > 0 };
    const store = await openStore(optionsIn(this.folder, { truck: TRUCK, maxBytes: MAX_STORE, keepMs: DAY_MS, run }));
    const { restored } = store.opened;
    // Not by the harness: it keeps what it has made to the end of the test.
    const publisher = new Publisher({
      source: store,
      url: this.broker.url,
      fleet: FLEET,
      truck: TRUCK,
      version: '0.1.0',
      config: () => '9c1e44d0',
      confirm: 'office',
      timings: { ...QUICK, resendMs: 200, resendMaxMs: 200 },
      clock: { ...testClock(), streamNow: () => this.nowMs },
      presence: { state: 'awake', bus: { main: 'virtual' }, degraded: [], since: null },
    });
    const known = run.synced && restored?.run.synced === true;
    const session = new Session({
      config: truckOf(),
      resume:
        restored === null
          ? null
          : { kind: 'restart', state: JSON.parse(restored.state) as Plain, downMs: known ? 30_000 : null },
      run,
      store,
      publisher,
      nowMs: () => this.nowMs,
      onUnstored: (_, error) => {
        throw error;
      },
    });
    this.nowMs = 0;
    publisher.start();
    this.life = { session, store, publisher };
  }

  /** As at the end of the program; what the broker has not got then waits in the store. */
  async stop(): Promise<void> {
    const { session, publisher, store } = this.life;
    await session.finish(this.nowMs);
    await publisher.stop(0);
    await store.close();
    this.wall += this.nowMs + 30_000;
  }

  /** A second of the bus, with what is broken on it. */
  async second(frames: readonly Frame[]): Promise<void> {
    const { below } = this.round;
    const { session, publisher } = this.life;
    const from = this.nowMs;
    for (const { t, id, data } of frames) {
      const at = from + (t % 1000);
      this.frames += 1;
      const kind = below(50);
      if (kind === 0) session.stepper.frame(at, 0, id, data.subarray(0, below(8)), below(9));
      else if (kind === 1) session.stepper.frame(at, 0, this.#transferId(), this.#bytes(), 8);
      else session.stepper.frame(at, 0, id, data, data.length);
    }
    this.nowMs += 1000;
    session.stepper.advance(this.nowMs);
    session.settle(this.nowMs);
    await session.backPressure();
    await new Promise((resolve) => setImmediate(resolve));
    if (below(400) === 0) this.broker.dropAll();
    if (below(900) === 0) session.setRun({ zeroWallMs: this.wall + (below(7_200) - 3_600) * 1000, synced: true });
    if (below(600) === 0)
      session.rare({
        kind: 'answer',
        t: this.nowMs + 1,
        answer: { trailer: below(2) === 0 ? 'TR-77' : 'TR-78', decisions: [] },
      });
    if (below(300) === 0) publisher.openChanged();
    if (below(900) === 0) {
      await this.stop();
      await this.start();
      this.restarts += 1;
    }
    if (below(60) === 0) this.look();
  }

  #transferId(): number {
    return makeId({ priority: 7, pgn: 60416, source: this.round.below(254), destination: 255 });
  }

  #bytes(): Uint8Array {
    return Uint8Array.from({ length: 8 }, () => this.round.below(256));
  }

  look(): void {
    const path = join(this.folder, 'axlepost.db');
    const sizeOf = (file: string): number => statSync(file, { throwIfNoEntry: false })?.size ?? 0;
    this.mostWal = Math.max(this.mostWal, sizeOf(`${path}-wal`));
    this.mostFile = Math.max(this.mostFile, sizeOf(path));
    this.mostState = Math.max(this.mostState, JSON.stringify(this.life.session.pipeline.snapshot(this.nowMs)).length);
  }

  /** The office says how far it has everything; a broker that goes away meanwhile has it said again. */
  async answer(): Promise<void> {
    while (this.seen.has(this.#received + 1)) this.#received += 1;
    if (this.#received === 0) return;
    const received = { store: this.life.store.opened.store, seq: this.#received };
    this.#rev += 1;
    await this.inbox
      .answer({ fleet: FLEET, truck: TRUCK }, { v: 1, rev: this.#rev, received, trailer: null, decisions: [] })
      .catch(() => {});
  }

  /** The broker stays; everything that waits leaves. */
  async drained(): Promise<void> {
    const { store } = this.life;
    while ((await store.stats()).outbox > 0) {
      await this.answer();
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
  }

  openFiles(): number | null {
    return existsSync(PROC) ? readdirSync(PROC).length : null;
  }
}

describe('soak', () => {
  const row = new FaultRow('soak', { short: 1, full: 4 });
  const seconds: Frame[][] = Array.from({ length: LAP_S }, () => []);
  for (const frame of lap) seconds[Math.floor(frame.t / 1000)]!.push(frame);

  test('memory, open files, log and state stay flat, nothing is lost', { timeout: row.timeoutMs }, async () => {
    await row.each(async (round) => {
      const soak = new Soak(round);
      soak.broker = await makeBroker();
      let invalid = 0;
      soak.inbox = await makeInbox({
        url: soak.broker.url,
        onEvent: ({ seq }) => soak.seen.add(seq),
        onDropped: () => invalid++,
      });
      await soak.start();
      const total = HOURS * 3_600;
      const warm = Math.floor(total / 3);
      let held = 0;
      let files: number | null = null;
      for (let s = 0; s < total; s++) {
        await soak.second(seconds[s % LAP_S]!);
        if (s % 600 !== 599 && s !== warm) continue;
        await soak.drained();
        if (s !== warm) continue;
        held = heldBytes();
        files = soak.openFiles();
      }
      await soak.life.session.finish(soak.nowMs);
      await soak.drained();
      const lastSeq = Math.max(0, ...soak.seen);
      const growth = heldBytes() - held;
      const filesAfter = soak.openFiles();
      console.log(
        `${HOURS} h of bus time, ${soak.frames} frames, ${soak.restarts} restarts, ${lastSeq} events; memory ${(growth / MB).toFixed(1)} MB, ` +
          `files ${files} → ${filesAfter}, WAL ≤ ${(soak.mostWal / MB).toFixed(1)} MB, database ≤ ${(soak.mostFile / MB).toFixed(1)} MB, state ≤ ${soak.mostState} bytes`,
      );
      expect(lastSeq).toBeGreaterThan(20);
      // Every number once or more, and none left out.
      expect(soak.seen.size).toBe(lastSeq);
      expect(invalid).toBe(0);
      expect(soak.mostWal).toBeLessThan(MAX_WAL);
      expect(soak.mostFile).toBeLessThanOrEqual(MAX_STORE);
      expect(soak.mostState).toBeLessThan(MAX_STATE);
      expect(growth).toBeLessThan(GROWTH);
      if (files !== null) expect(filesAfter!).toBeLessThanOrEqual(files + FILES);
      expect(soak.life.publisher.health()).toMatchObject({ volatileDropped: 0, storeErrors: 0 });
      await soak.stop();
    });
  });
});
