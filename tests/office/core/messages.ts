import type { GapMessage, PresenceMessage, ReceivedEvent, ReceivedOpen } from '../../../adapters/mqtt/messages.js';
import type { Urgency } from '../../../config/resolved.js';
import { fold } from '../../../office/core/fold.js';
import {
  type FleetRules,
  type Folded,
  type Incoming,
  newTruckState,
  type OfficeAlert,
  type TruckKey,
  type TruckState,
} from '../../../office/core/model.js';

export const T0 = Date.parse('2026-03-02T14:00:00.000Z');
export const S = 1_000;
export const MIN = 60_000;
export const KEY: TruckKey = { fleet: 'northline', truck: 'T-1042' };
export const STORE = 'k3f9q2m1x7ab';
export const idOf = (seq: number, store = STORE): string => `T-1042.${store}.${seq}`;
export const stamp = (ms: number): string => new Date(ms).toISOString();

export const RULES: FleetRules = {
  untakenMs: { plan: null, 'next-stop': 15 * MIN, 'pull-over': 2 * MIN },
  channels: [],
  expected: [],
  timeZone: 'America/Chicago',
  position: 'exact',
};

const MEASURED = {
  quantity: 'leak rate',
  window: 'steady',
  value: 5.4,
  limit: 3.5,
  unit: 'kPa/min',
  quality: 'good' as const,
};

export type EventPart = Partial<ReceivedEvent>;

export const eventOf = (seq: number, change: ReceivedEvent['change'], more: EventPart = {}): ReceivedEvent => ({
  v: 1,
  ...KEY,
  trailer: 'TR-77',
  store: STORE,
  boot: 12,
  seq,
  config: '9c1e44d0',
  version: '0.1.0',
  alert: idOf(1),
  cause: null,
  rule: 'tire-losing-air',
  kind: 'equipment',
  subject: 'tractor/2/left/outer',
  place: 'tractor axle 2, left outer tire',
  change,
  urgency: 'next-stop',
  was: null,
  since: stamp(T0),
  at: stamp(T0 + seq * S),
  synced: true,
  heldS: 0,
  measured: MEASURED,
  evidence: { quantity: 'cold pressure', unit: 'kPa', points: [[stamp(T0), 600 + seq]] },
  forecast: null,
  advice: `advice of ${seq}`,
  basis: 'common practice',
  vehicle: { speed: 88.1, lat: 41.2613, lon: -96.1367, age: 1 },
  ...more,
});

export type Listed = ReceivedOpen['alerts'][number];

export const listedOf = (more: Partial<Listed> = {}): Listed => ({
  alert: idOf(1),
  cause: null,
  rule: 'tire-losing-air',
  kind: 'equipment',
  subject: 'tractor/2/left/outer',
  place: 'tractor axle 2, left outer tire',
  urgency: 'next-stop',
  unsure: false,
  chattering: false,
  since: stamp(T0),
  measured: MEASURED,
  ...more,
});

export const openOf = (asOf: number, alerts: Listed[] = [], more: Partial<ReceivedOpen> = {}): ReceivedOpen => ({
  v: 1,
  store: STORE,
  asOf,
  at: stamp(T0 + asOf * S),
  synced: true,
  trailer: 'TR-77',
  alerts,
  muted: [],
  more: 0,
  ...more,
});

export const presenceOf = (
  state: PresenceMessage['state'],
  more: Partial<PresenceMessage> = {},
): Incoming & { kind: 'presence' } => ({
  kind: 'presence',
  receivedMs: T0,
  message: {
    v: 1,
    state,
    store: STORE,
    boot: 12,
    version: '0.1.0',
    config: '9c1e44d0',
    bus: { main: 'listen-only' },
    degraded: [],
    since: stamp(T0),
    ...more,
  },
});

export const gapOf = (fromSeq: number, toSeq: number, count: number): GapMessage => ({
  v: 1,
  store: STORE,
  fromSeq,
  toSeq,
  what: 'events of ended plan alerts between first and last',
  count,
  why: 'no room',
});

/** A truck of the office, told one thing after the other. */
export class Office {
  state: TruckState = newTruckState();
  readonly notices: Folded['notices'] = [];
  nowMs = T0;
  readonly rules: FleetRules;

  constructor(rules: Partial<FleetRules> = {}) {
    this.rules = { ...RULES, ...rules };
  }

  take(folded: Folded | null): this {
    if (folded === null) return this;
    this.state = folded.state;
    this.notices.push(...folded.notices);
    return this;
  }

  fold(...messages: Incoming[]): this {
    return this.take(fold(KEY, this.state, messages, this.rules, this.nowMs));
  }

  event(seq: number, change: ReceivedEvent['change'], more: EventPart = {}): this {
    return this.fold({ kind: 'event', receivedMs: this.nowMs, message: eventOf(seq, change, more) });
  }

  open(asOf: number, alerts: Listed[] = [], more: Partial<ReceivedOpen> = {}): this {
    return this.fold({ kind: 'open', receivedMs: this.nowMs, message: openOf(asOf, alerts, more) });
  }

  presence(state: PresenceMessage['state'], more: Partial<PresenceMessage> = {}): this {
    return this.fold({ ...presenceOf(state, more), receivedMs: this.nowMs });
  }

  gap(fromSeq: number, toSeq: number, count: number): this {
    return this.fold({ kind: 'gap', receivedMs: this.nowMs, message: gapOf(fromSeq, toSeq, count) });
  }

  wait(ms: number): this {
    this.nowMs += ms;
    return this;
  }

  alert(id = idOf(1)): OfficeAlert | undefined {
    return this.state.alerts.find((a) => a.id === id);
  }

  get ids(): string[] {
    return this.state.alerts.map(({ id }) => id).sort();
  }

  /** `why channel alert urgency`, and how it ended. */
  get told(): string[] {
    return this.notices.map(
      (n) => `${n.why} ${n.channel} ${n.alert.id.split('.').at(-1)} ${n.ending ?? n.alert.urgency}`,
    );
  }
}

export const channel = (name: string, ...urgencies: Urgency[]): FleetRules['channels'][number] => ({ name, urgencies });
