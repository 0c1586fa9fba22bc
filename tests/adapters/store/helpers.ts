import { closeSync, mkdtempSync, openSync, readdirSync, rmSync, statSync, writeSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach } from 'vitest';
import type { Commit, DecidedBy, StoreOptions } from '../../../adapters/store/contract.js';
import { StoreDatabase } from '../../../adapters/store/database.js';
import type { EventDraft, OpenAlert, OpenDraft } from '../../../daemon/alerts/event.js';
import type { HistoryRow, TripRecord } from '../../../daemon/effects.js';
import type { RecordOf } from '../../../daemon/truck/records.js';
import { printedSeed } from '../../support/seed.js';

export const ZERO_MS = Date.parse('2026-03-02T08:00:00Z');
export const MINUTE_MS = 60_000;
export const HOUR_MS = 3_600_000;
export const DAY_MS = 24 * HOUR_MS;

const directories: string[] = [];
const databases: StoreDatabase[] = [];

afterEach(() => {
  for (const database of databases.splice(0)) {
    try {
      database.close();
    } catch {
      // Some tests break the file on purpose.
    }
  }
  for (const directory of directories.splice(0)) rmSync(directory, { recursive: true, force: true });
});

export function tempDir(): string {
  const directory = mkdtempSync(join(tmpdir(), 'axlepost-store-'));
  directories.push(directory);
  return directory;
}

export function optionsIn(directory: string, more: Partial<StoreOptions> = {}): StoreOptions {
  return {
    path: join(directory, 'axlepost.db'),
    truck: 'T-1042',
    maxBytes: 64 * 1024 * 1024,
    keepMs: 90 * DAY_MS,
    run: { zeroWallMs: ZERO_MS, synced: true },
    ...more,
  };
}

/** A database that is closed after the test, whatever happens. */
export function openDatabase(options: StoreOptions): StoreDatabase {
  const database = new StoreDatabase(options);
  databases.push(database);
  return database;
}

export function draft(alert: number, change: EventDraft['change'], more: Partial<EventDraft> = {}): EventDraft {
  return {
    t: 60_000,
    alert,
    cause: null,
    rule: 'tire-underinflated',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    change,
    reason: null,
    urgency: 'plan',
    was: null,
    sinceAgoMs: 0,
    trailer: null,
    measured: { quantity: 'share', value: 88.5, limit: 90, unit: '%', quality: 'good' },
    evidence: { quantity: 'cold pressure', unit: 'kPa', points: [[0, 610.5]] },
    forecast: null,
    advice: 'Check the tire.',
    basis: 'common practice',
    vehicle: { speed: 80, lat: null, lon: null, ageS: 1 },
    ...more,
  };
}

export function openAlert(alert: number, more: Partial<OpenAlert> = {}): OpenAlert {
  return {
    alert,
    cause: null,
    rule: 'tire-underinflated',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    urgency: 'plan',
    unsure: false,
    chattering: false,
    taken: null,
    snoozed: null,
    sinceAgoMs: 5_000,
    measured: null,
    ...more,
  };
}

export function openDraft(alerts: OpenAlert[], t = 60_000): OpenDraft {
  return { t, trailer: 'TR-77', alerts, muted: [], notJudged: [] };
}

export const BY: DecidedBy = { config: '9c1e44d0', version: '0.1.0' };

export function commit(more: Partial<Commit> = {}): Commit {
  return { t: 60_000, by: BY, events: [], open: null, state: null, history: [], records: [], trip: null, ...more };
}

export function trip(number: number, more: Partial<TripRecord> = {}): TripRecord {
  const times = { startAt: 0, endAt: 3_600_000, distanceKm: 80.5, gapS: 12 };
  return { trip: number, provisional: false, ...times, alerts: 1, notJudged: [], summary: null, ...more };
}

export function brakeApplication(more: Partial<RecordOf<'brake-application'>['values']> = {}) {
  return {
    kind: 'brake-application',
    subject: 'brakes',
    startAt: 10_000,
    endAt: 14_000,
    values: {
      durationS: 4,
      peakKpa: 240,
      meanKpa: 212.5,
      startKmh: 80,
      endKmh: 62.3,
      from: 'pedal',
      qualifying: true,
      wheels: { 'tractor/1/left': { code: 0, strokeMm: null }, 'tractor/2/left': { code: 2, strokeMm: 51.2 } },
      airUsedKpa: 12,
      ...more,
    },
  } satisfies RecordOf<'brake-application'>;
}

export function airTest() {
  return {
    kind: 'air-test',
    subject: 'air/primary',
    startAt: 100_000,
    endAt: 160_000,
    values: {
      state: 'released',
      circuit: 'air/primary',
      seconds: 60,
      fallKpa: 16,
      kpaPerMin: 16,
      thirds: [16, 16, 16],
      units: 2,
      limit: 20.7,
    },
  } satisfies RecordOf<'air-test'>;
}

export function airCycle() {
  return {
    kind: 'air-cycle',
    subject: 'air/supply',
    startAt: 200_000,
    endAt: 232_000,
    values: { cutInKpa: 700, cutOutKpa: 860, pumpingS: 32, revolutionsPer100Kpa: 410 },
  } satisfies RecordOf<'air-cycle'>;
}

/** Of trip `number`, from the start of the run to 60 s. */
export function startCheck(number: number) {
  return {
    kind: 'start-check',
    subject: 'tractor',
    startAt: 0,
    endAt: 60_000,
    values: {
      trip: number,
      why: 'complete',
      stoodS: 41_200,
      tires: {
        'tractor/1/left/single': { kpa: 812, coldKpa: 827.4, targetKpa: 827.4, share: 1, ageS: 6, sure: true },
      },
      brakes: {
        applications: 3,
        wheels: { 'tractor/1/left': { applied: 0, released: 0, strokeMm: null, restMm: null } },
      },
      air: {
        startKpa: 380,
        lowAirS: 21,
        buildUp: { seconds: 38, meanRpm: 1040 },
        leakTests: [{ state: 'released', circuit: 'air/primary', seconds: 60, kpaPerMin: 4.1, limit: 20.7 }],
      },
    },
  } satisfies RecordOf<'start-check'>;
}

export function historyRow(t: number, more: Partial<HistoryRow> = {}): HistoryRow {
  return {
    subject: 'tractor/1/left/single',
    quantity: 'pressure',
    t,
    min: 800.5,
    max: 804,
    last: 802,
    count: 6,
    ...more,
  };
}

/** One minute of a whole combination: `series` quantities. */
export function minute(t: number, series: number): HistoryRow[] {
  return Array.from({ length: series }, (_, n) =>
    historyRow(t, { subject: `tractor/${n}/left/single`, last: 800 + n }),
  );
}

export function brokenFiles(directory: string): string[] {
  return readdirSync(directory).filter((name) => name.endsWith('.broken'));
}

/** The code of the error that a call throws, or null. */
export function codeOf(call: () => unknown): string | null {
  try {
    call();
    return null;
  } catch (error) {
    return (error as { code?: string }).code ?? String(error);
  }
}

/** A small generator with a printed seed (mulberry32). */
export function seeded(name: string): () => number {
  let a = printedSeed(name) >>> 0;
  return () => {
    a = (a + 0x6d2b79f5) >>> 0;
    let x = Math.imul(a ^ (a >>> 15), a | 1);
    x ^= x + Math.imul(x ^ (x >>> 7), x | 61);
    return ((x ^ (x >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** Overwrites the file under an open database from `from` on, as failing flash does, and makes SQLite read it again. */
export function breakUnderneath(database: StoreDatabase, path: string, from = 0): void {
  database.connection.pragma('wal_checkpoint(TRUNCATE)');
  const handle = openSync(path, 'r+');
  writeSync(handle, Buffer.alloc(Math.max(0, statSync(path).size - from), 0x5a), 0, undefined, from);
  closeSync(handle);
  database.connection.pragma('shrink_memory');
}

/** Leaves no free page: the next commit that needs one finds the file full. */
export function fill(database: StoreDatabase): void {
  const pages = Number(database.connection.pragma('page_count', { simple: true }));
  database.connection.pragma(`max_page_count = ${pages}`);
}
