import { pino } from 'pino';
import { interfaceMode } from '../../adapters/can/interface-mode.js';
import { openSocketCan } from '../../adapters/can/socketcan.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { KernelFilter } from '../j1939/interest.js';
import type { ListenedReport } from '../survey/report.js';
import type { Survey } from '../survey/survey.js';
import { EXIT, Failure, lineOf } from './failure.js';
import { type BusState, LiveBus, type RunEdges, refusalOf } from './live-bus.js';

const EXTENDED = 0x80000000;
/** Everything: frames with identifiers of 29 bits, and of 11. Two filters, so that the kernel counts what they match. */
const EVERYTHING: readonly KernelFilter[] = [
  { id: EXTENDED, mask: EXTENDED },
  { id: 0, mask: EXTENDED },
];

/** What touches the machine; tests put their own in its place. */
export type SurveyEdges = Pick<RunEdges, 'openBus' | 'modeOf' | 'kernel'>;

export const MACHINE: SurveyEdges = { openBus: openSocketCan, modeOf: interfaceMode };

export interface ListenOptions {
  /** With their indexes in the survey. */
  buses: { bus: TruckConfig['buses'][number]; index: number }[];
  survey: Survey;
  edges: SurveyEdges;
  seconds: number;
  /** Without one nothing can say "acknowledge: yes". */
  hasTruckFile: boolean;
  nowMs(): number;
  /** A line for people while it goes on. */
  onNote(line: string): void;
  /** Seconds so far. */
  onProgress(seconds: number): void;
  /** Ends it early; what was learned counts. */
  stopped: Promise<unknown>;
}

const PROGRESS_MS = 250;

/** Listens to interfaces as `run` does, refusing what it refuses. Throws a Failure when it must not or cannot listen. */
export async function listen(
  options: ListenOptions,
): Promise<{ listened: ListenedReport[]; skipped: number; ms: number }> {
  const { buses, seconds, nowMs, onProgress, stopped } = options;
  await refuse(options);
  const startMs = nowMs();
  let end: (failure: Failure | null) => void = () => {};
  const ended = new Promise<Failure | null>((resolve) => {
    end = resolve;
  });
  const now = (): number => Math.floor(nowMs() - startMs);
  const live = buses.map(({ bus, index }) => new Ear(bus, index, options, now, end));
  const over = setTimeout(() => end(null), 1000 * seconds);
  const progress = setInterval(() => onProgress(now() / 1000), PROGRESS_MS);
  void stopped.then(() => end(null));
  try {
    await Promise.all(live.map((ear) => ear.bus.start()));
    const failure = await ended;
    if (failure !== null) throw failure;
    const skipped = live.reduce((sum, ear) => sum + ear.skipped, 0);
    return { listened: live.map((ear) => ear.listened()), skipped, ms: now() };
  } finally {
    clearTimeout(over);
    clearInterval(progress);
    for (const ear of live) ear.bus.close();
  }
}

async function refuse({ buses, edges, hasTruckFile }: ListenOptions): Promise<void> {
  for (const { bus } of buses) {
    const mode = await edges.modeOf(bus.interface).catch((error: unknown) => {
      throw new Failure(EXIT.failed, lineOf(error), error);
    });
    const refusal = refusalOf(bus, mode);
    if (refusal === null) continue;
    const more = mode.kind === 'acknowledging' && !hasTruckFile ? ' and name that file with --config' : '';
    throw new Failure(EXIT.failed, `${refusal}${more}`);
  }
}

/** One bus that is heard once: what is down at the start is a failure, what goes down later ends the survey. */
class Ear {
  readonly bus: LiveBus;
  readonly #name: string;
  /** As opened; afterwards the bus is down. */
  #state: BusState = 'down';
  #received: () => number = () => 0;
  #taken = 0;

  constructor(
    bus: TruckConfig['buses'][number],
    index: number,
    { survey, edges, onNote }: ListenOptions,
    now: () => number,
    end: (failure: Failure | null) => void,
  ) {
    this.#name = bus.interface;
    const warned = (line: string): void => {
      if (this.#state === 'down') end(new Failure(EXIT.failed, line));
      else onNote(line);
    };
    const log = pino(
      { base: null, level: 'warn' },
      { write: (line: string) => warned((JSON.parse(line) as { msg: string }).msg) },
    );
    this.bus = new LiveBus({
      bus,
      filters: EVERYTHING,
      edges: {
        ...edges,
        log,
        openBus: async (...args) => {
          const open = await edges.openBus(...args);
          this.#received = () => open.received;
          return open;
        },
      },
      onFrame: (id, data, isError) => {
        if (isError) survey.errorFrame(now(), index, id);
        else {
          this.#taken++;
          survey.frame(now(), index, id, data, data.length);
        }
      },
      onState: (state) => {
        if (state === 'down') end(null);
        else this.#state = state;
      },
      onFatal: end,
    });
  }

  /** Frames that are no 29-bit data frames of up to 8 bytes: 11-bit, RTR, FD. */
  get skipped(): number {
    return Math.max(0, this.#received() - this.#taken);
  }

  listened(): ListenedReport {
    return { interface: this.#name, state: this.#state, lost: this.bus.health().counters.lost ?? null };
  }
}
