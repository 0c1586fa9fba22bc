import type {
  Commit,
  GapRecord,
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
  StoreOpened,
  StoreOptions,
  StoreStats,
} from './contract.js';
import type { StoreErrorCode } from './errors.js';

/** What the main thread asks of the worker, by name, with the arguments and the answer of each. */
export interface Calls {
  commit: { argument: Commit; answer: NumberedEvent[] };
  outbox: { argument: { after: number; limit: number }; answer: NumberedEvent[] };
  confirm: { argument: number; answer: undefined };
  gaps: { argument: null; answer: GapRecord[] };
  confirmGap: { argument: GapRecord; answer: undefined };
  trips: { argument: number; answer: NumberedTrip[] };
  confirmTrip: { argument: { boot: number; trip: number }; answer: undefined };
  checks: { argument: number; answer: NumberedCheck[] };
  confirmCheck: { argument: { boot: number; trip: number }; answer: undefined };
  ordinals: { argument: string[]; answer: (number | null)[] };
  open: { argument: null; answer: NumberedOpen | null };
  clock: { argument: RunInfo; answer: undefined };
  stats: { argument: null; answer: StoreStats };
  close: { argument: null; answer: undefined };
}
export type CallName = keyof Calls;

export type Request = { [N in CallName]: { call: N; argument: Calls[N]['argument'] } }[CallName];

/** Errors cross the thread border as plain data, so that their code does. */
export interface ErrorData {
  code: StoreErrorCode;
  message: string;
}

/** One per request, in the order of the requests; the first message of all answers the opening. `opened`: when it has changed. */
export type Reply = ({ ok: true; answer: unknown } | { ok: false; error: ErrorData }) & { opened?: StoreOpened };

export interface WorkerData {
  options: StoreOptions;
}
