import type { GapMessage, ReceivedEvent, ReceivedReading } from '../../../adapters/mqtt/messages.js';
import type { ReceivedCheck, ReceivedTrip } from '../../../adapters/mqtt/trip-messages.js';
import type { Folded, Incoming, Notice, OfficeAlert, TruckKey, TruckState } from '../../../office/core/model.js';

export const T0 = Date.parse('2026-03-02T14:00:00.000Z');
export const MINUTE_MS = 60_000;
export const DAY_MS = 86_400_000;
export const KEY: TruckKey = { fleet: 'northline', truck: 'T-1042' };
export const OTHER: TruckKey = { fleet: 'northline', truck: 'T-208' };
export const STORE = 'k3f9q2m1x7ab';

export const stamp = (ms: number): string => new Date(ms).toISOString();

export function eventMessage(seq: number, more: Partial<ReceivedEvent> = {}): ReceivedEvent {
  return {
    v: 1,
    fleet: KEY.fleet,
    truck: KEY.truck,
    trailer: 'TR-77',
    store: STORE,
    boot: 12,
    seq,
    config: '9c1e44d0',
    alert: `T-1042.${STORE}.1`,
    cause: null,
    rule: 'tire-losing-air',
    kind: 'equipment',
    subject: 'tractor/2/left/outer',
    place: 'tractor axle 2, left outer tire',
    change: seq === 1 ? 'raised' : 'worse',
    urgency: 'next-stop',
    was: null,
    since: stamp(T0),
    at: stamp(T0 + seq * 1000),
    synced: true,
    heldS: 0,
    measured: { quantity: 'leak rate', value: 5.4, limit: 3.5, unit: 'kPa/min', quality: 'good' },
    evidence: null,
    forecast: null,
    advice: 'Check the tire – now.',
    basis: 'common practice',
    vehicle: { speed: 88.1, lat: 41.2, lon: -96.1, age: 1 },
    ...more,
  };
}

type Of<Kind extends Incoming['kind']> = Extract<Incoming, { kind: Kind }>;

export const event = (seq: number, receivedMs = T0 + seq, more: Partial<ReceivedEvent> = {}): Of<'event'> => ({
  kind: 'event',
  receivedMs,
  message: eventMessage(seq, more),
});

export function reading(atMs: number, receivedMs = atMs + 500, more: Partial<ReceivedReading> = {}): Of<'reading'> {
  const r = { 'tractor/2/left/outer': [688, 671, 41, 12], 'air/primary': [null, 1] };
  return { kind: 'reading', receivedMs, message: { v: 1, at: stamp(atMs), r, ...more } };
}

export function trip(number: number, receivedMs = T0 + number, more: Partial<ReceivedTrip> = {}): Of<'trip'> {
  const common = { v: 1 as const, store: STORE, boot: 12, trip: number, config: '9c1e44d0', synced: true };
  const times = { start: stamp(T0), end: stamp(T0 + MINUTE_MS) };
  const message = { ...common, ...times, distanceKm: 212.4, alerts: 3, gapS: 0, notJudged: [], ...more };
  return { kind: 'trip', receivedMs, message };
}

export function startCheck(number: number, receivedMs = T0 + number): Of<'start-check'> {
  const message: ReceivedCheck = {
    v: 1,
    kind: 'start-check',
    store: STORE,
    boot: 12,
    trip: number,
    config: '9c1e44d0',
    synced: true,
    start: stamp(T0),
    at: stamp(T0 + MINUTE_MS),
    why: 'complete',
    stoodS: 41_200,
    tires: { 'tractor/1/left/single': [812, 827.4, 827.4, 1, 6, true] },
    brakes: { applications: 3, wheels: { 'tractor/1/left': [0, 0, null, null] } },
    air: { startKpa: 380, lowAirS: 21, buildUp: null, leakTests: [] },
  };
  return { kind: 'start-check', receivedMs, message };
}

export function gap(more: Partial<GapMessage> = {}, receivedMs = T0): Of<'gap'> {
  const what = 'events of ended plan alerts';
  const message = {
    v: 1 as const,
    store: STORE,
    fromSeq: 101,
    toSeq: 380,
    what,
    count: 212,
    why: 'the store was full',
  };
  return { kind: 'gap', receivedMs, message: { ...message, ...more } };
}

export const presence = (receivedMs = T0): Of<'presence'> => ({
  kind: 'presence',
  receivedMs,
  message: {
    v: 1,
    state: 'awake',
    store: STORE,
    boot: 12,
    version: '0.1.0',
    config: '9c1e44d0',
    bus: { main: 'listen-only' },
    degraded: [],
    since: null,
  },
});

export function officeAlert(more: Partial<OfficeAlert> = {}): OfficeAlert {
  const { alert: id, store, cause, rule, kind, subject, place, urgency, since, at, synced, measured } = eventMessage(1);
  return {
    ...{ id, store, cause, rule, kind, subject, place, urgency, since, at, synced, measured },
    unsure: false,
    chattering: false,
    evidence: null,
    forecast: null,
    advice: null,
    basis: null,
    vehicle: null,
    taken: null,
    snoozed: null,
    note: null,
    lastSeq: 1,
    detailSeq: 1,
    noteSeq: 1,
    urgentSinceMs: T0,
    untakenMs: null,
    told: [],
    ...more,
  };
}

export function notice(ms = T0, more: Partial<Notice> = {}): Notice {
  const common = { ...KEY, trailer: 'TR-77', alert: officeAlert(), ending: null };
  return { why: 'raised', channel: 'desk', ...common, ms, ...more };
}

/** A naive fold: what came last was heard last, and each event is an alert of its own. */
export function noting(_: TruckKey, state: TruckState, fresh: readonly Incoming[]): Folded {
  const alerts = fresh.flatMap((incoming) =>
    incoming.kind === 'event' ? [officeAlert({ id: `${incoming.message.store}.${incoming.message.seq}` })] : [],
  );
  const heardMs = fresh.at(-1)?.receivedMs ?? state.heardMs;
  return {
    state: { ...state, revision: state.revision + 1, heardMs, alerts: [...state.alerts, ...alerts] },
    notices: [],
  };
}

/** The same with notices. */
export const telling =
  (...notices: Notice[]) =>
  (key: TruckKey, state: TruckState, fresh: readonly Incoming[]): Folded => ({
    ...noting(key, state, fresh),
    notices,
  });
