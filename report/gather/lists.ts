import type { WallMs } from '../../daemon/time.js';
import type { Gathered, GatheredRecord } from '../gathered.js';

/** About 1 KB each: 10 MB. */
export const MOST_EVENTS = 10_000;
/** About 1 KB each: 10 MB. A city bus makes some 3,000 brake applications in a shift. */
export const MOST_RECORDS = 10_000;
/** Trips, gaps, muted findings, changes of the truck's life, of each. */
export const MOST_OTHERS = 5_000;

type Listed = Pick<Gathered, 'runs' | 'events' | 'trips' | 'records' | 'life' | 'gaps' | 'muted'>;
type Name = keyof Listed;
type Item<N extends Name> = Listed[N][number];

const NAMES: readonly Name[] = ['runs', 'events', 'trips', 'records', 'life', 'gaps', 'muted'];
/** What of an item is an instant. */
const INSTANTS = ['atMs', 'fromMs', 'toMs', 'startMs', 'endMs'] as const;

/**
 * What is gathered one by one. Items of the running run of the program are kept in its own time until its wall clock is known
 * for good; each list is bounded.
 */
export class Lists {
  readonly all: Listed = { runs: [], events: [], trips: [], records: [], life: [], gaps: [], muted: [] };
  /** Items that were too many, of any kind but brake applications; the latest are left out. */
  dropped = 0;
  applicationsDropped = 0;
  /** Items before this one have wall time. */
  readonly #settled: Record<Name, number> = {
    ...{ runs: 0, events: 0, trips: 0, records: 0, life: 0, gaps: 0, muted: 0 },
  };

  /** False: there are too many of its kind already. */
  add<N extends Name>(name: N, item: Item<N>): boolean {
    const list = this.all[name] as Item<N>[];
    if (name === 'records' && list.length >= MOST_RECORDS) this.#dropApplications();
    const most = name === 'events' ? MOST_EVENTS : name === 'records' ? MOST_RECORDS : MOST_OTHERS;
    if (list.length >= most) {
      this.dropped++;
      return false;
    }
    list.push(item);
    return true;
  }

  /** Takes the last one's place. */
  replaceLast<N extends Name>(name: N, item: Item<N>): void {
    const list = this.all[name] as Item<N>[];
    list[list.length - 1] = item;
    this.#settled[name] = Math.min(this.#settled[name], list.length - 1);
  }

  /** Runs whose time is still their own. */
  unsettledRuns(): Gathered['runs'] {
    return this.all.runs.slice(this.#settled.runs);
  }

  /** Wall time of each event. @param zeroMs of those that have none yet */
  eventTimes(zeroMs: WallMs): WallMs[] {
    return this.all.events.map(({ atMs }, i) => atMs + (i < this.#settled.events ? 0 : zeroMs));
  }

  /** From now on the items so far have wall time. */
  settle(zeroMs: WallMs): void {
    for (const name of NAMES) {
      const items = this.all[name] as unknown as Partial<Record<(typeof INSTANTS)[number], number>>[];
      for (const item of items.slice(this.#settled[name])) {
        for (const key of INSTANTS) if (item[key] !== undefined) item[key] += zeroMs;
      }
      this.#settled[name] = items.length;
    }
  }

  /** Events stay as they were decided; the rest is in the order of time: runs may lie over each other where clocks were wrong. */
  sort(): void {
    this.all.life.sort((a, b) => a.atMs - b.atMs);
    for (const list of [this.all.runs, this.all.gaps, this.all.muted]) list.sort((a, b) => a.fromMs - b.fromMs);
    for (const list of [this.all.trips, this.all.records]) list.sort((a, b) => a.startMs - b.startMs);
  }

  /** Makes room: of brake applications the softest go first. */
  #dropApplications(): void {
    const { records } = this.all;
    const applications = records.flatMap((item, i) => (item.record.kind === 'brake-application' ? [i] : []));
    applications.sort((a, b) => hardness(records[a]!) - hardness(records[b]!) || a - b);
    const gone = new Set(applications.slice(0, MOST_RECORDS / 4));
    const settled = this.#settled.records;
    this.#settled.records = settled - [...gone].filter((i) => i < settled).length;
    records.splice(0, records.length, ...records.filter((_, i) => !gone.has(i)));
    this.applicationsDropped += gone.size;
  }
}

/** kPa; what qualifies comes after what does not. */
function hardness({ record }: GatheredRecord): number {
  if (record.kind !== 'brake-application') return 0;
  return (record.values.qualifying ? 1e6 : 0) + (record.values.peakKpa ?? 0);
}
