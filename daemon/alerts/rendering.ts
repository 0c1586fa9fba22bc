import type { Mark } from '../../config/resolved.js';
import type { ReadingReport } from '../effects.js';
import type { StreamMs, WallMs } from '../time.js';
import type { EventDraft, Evidence, Forecast, Measured, OpenAlert } from './event.js';
import { isoTime } from './iso-time.js';
import type {
  EventMessage,
  EvidenceMessage,
  ForecastMessage,
  MeasuredMessage,
  NotJudgedMessage,
  OpenAlertMessage,
  OpenMessage,
  ReadingMessage,
} from './message.js';
import type { DecidedBy, NumberedEvent, NumberedOpen, RunInfo } from './numbered.js';
import { FORECAST_STEP_MS, roundedTo } from './rounding.js';

export interface RenderContext {
  fleet: string;
  truck: string;
  /** The configuration's hash, for events that do not say which one decided them. */
  config: string;
  /** The moment of this publish by the same clock as the event's run; null when the two cannot be compared. */
  now: WallMs | null;
  /** A replay says so in every message. */
  replay?: boolean;
}

export function stamp(run: RunInfo, t: StreamMs): string {
  return isoTime(run.zeroWallMs + t);
}

/** Rounded to the unit's step. A number that is not finite is not told: then the whole measurement is null. */
function roundedMeasured(measured: Measured | null): MeasuredMessage | null {
  if (measured === null) return null;
  if ('silentS' in measured) {
    const silentS = roundedTo('s', measured.silentS);
    return silentS === null ? null : { silentS };
  }
  if ('code' in measured) {
    const { code, text, of } = measured;
    return of === undefined ? { code, text } : { code, text, of };
  }
  const value = roundedTo(measured.unit, measured.value);
  if (value === null) return null;
  const out: { -readonly [K in string]?: number | string } = { quantity: measured.quantity };
  if (measured.window !== undefined) out.window = measured.window;
  out.value = value;
  for (const key of ['low', 'high', 'limit'] as const) {
    const bound = measured[key] === undefined ? null : roundedTo(measured.unit, measured[key]);
    if (bound !== null) out[key] = bound;
  }
  out.unit = measured.unit;
  out.quality = measured.quality;
  return out as MeasuredMessage;
}

/** Evidence with `when` made of each point's age, oldest first as given; points that are not finite are left out. */
function roundedEvidence<When>(
  evidence: Evidence | null,
  when: (agoMs: number) => When,
): { quantity: string; unit: string; points: [When, number][] } | null {
  if (evidence === null) return null;
  const points: [When, number][] = [];
  for (const [agoMs, value] of evidence.points) {
    const rounded = roundedTo(evidence.unit, value);
    if (rounded !== null) points.push([when(agoMs), rounded]);
  }
  return { quantity: evidence.quantity, unit: evidence.unit, points };
}

function roundedForecast<When>(
  forecast: Forecast | null,
  when: (inMs: number) => When,
): { what: string; at: When; from: When; to: When } | null {
  if (forecast === null) return null;
  const step = (ms: number): When => when(Math.round(ms / FORECAST_STEP_MS) * FORECAST_STEP_MS);
  return { what: forecast.what, at: step(forecast.inMs), from: step(forecast.fromMs), to: step(forecast.toMs) };
}

function roundedVehicle(vehicle: EventDraft['vehicle']): EventMessage['vehicle'] {
  return {
    speed: vehicle.speed === null ? null : roundedTo('km/h', vehicle.speed),
    lat: vehicle.lat === null ? null : roundedTo('deg', vehicle.lat),
    lon: vehicle.lon === null ? null : roundedTo('deg', vehicle.lon),
    age: vehicle.ageS === null ? null : roundedTo('s', vehicle.ageS),
  };
}

/** Whole seconds between the decision and this publish; null if unknown. A clock set back gives 0. */
function heldSeconds(run: RunInfo, t: StreamMs, now: WallMs | null): number | null {
  return now === null ? null : Math.max(0, Math.floor((now - run.zeroWallMs - t) / 1000));
}

/** Of what is not known to have been decided by a certain version, none is told. */
export function decidedBy(by: DecidedBy | null, config: string): { config: string; version?: string } {
  return by === null ? { config } : { config: by.config, version: by.version };
}

/** What a person decided and wrote; nothing where nobody did. */
function said({ who, note, snoozeS }: EventDraft): Pick<EventMessage, 'who' | 'note' | 'snoozeS'> {
  return {
    ...(who !== undefined && { who }),
    ...(note !== undefined && { note }),
    ...(snoozeS !== undefined && { snoozeS }),
  };
}

/** The public event, keys in schema order; wall stamps from the run's best known zero. */
export function eventMessage(numbered: NumberedEvent, context: RenderContext): EventMessage {
  const { draft, run } = numbered;
  const evidence: EvidenceMessage | null = roundedEvidence(draft.evidence, (ago) => stamp(run, draft.t - ago));
  const forecast: ForecastMessage | null = roundedForecast(draft.forecast, (ms) => stamp(run, draft.t + ms));
  return {
    v: 1,
    ...(context.replay === true && { replay: true as const }),
    fleet: context.fleet,
    truck: context.truck,
    trailer: draft.trailer,
    store: numbered.store,
    boot: numbered.boot,
    seq: numbered.seq,
    ...(!numbered.stored && { stored: false as const }),
    ...decidedBy(numbered.by, context.config),
    alert: numbered.alertId,
    cause: numbered.causeId,
    rule: draft.rule,
    kind: draft.kind,
    subject: draft.subject,
    place: draft.place,
    change: draft.change,
    ...(draft.reason !== null && { reason: draft.reason }),
    ...said(draft),
    urgency: draft.urgency,
    was: draft.was,
    since: stamp(run, draft.t - draft.sinceAgoMs),
    at: stamp(run, draft.t),
    synced: run.synced,
    heldS: heldSeconds(run, draft.t, context.now),
    measured: roundedMeasured(draft.measured),
    evidence,
    forecast,
    advice: draft.advice,
    basis: draft.basis,
    vehicle: roundedVehicle(draft.vehicle),
  };
}

function openAlert(alert: OpenAlert, id: string, cause: string | null, run: RunInfo, t: StreamMs): OpenAlertMessage {
  return {
    alert: id,
    cause,
    rule: alert.rule,
    kind: alert.kind,
    subject: alert.subject,
    place: alert.place,
    urgency: alert.urgency,
    unsure: alert.unsure,
    chattering: alert.chattering,
    since: stamp(run, t - alert.sinceAgoMs),
    measured: roundedMeasured(alert.measured),
    // Lists of an earlier version have neither.
    ...(alert.taken && { taken: { who: alert.taken.who, at: stamp(run, t - alert.taken.agoMs) } }),
    ...(alert.snoozed && { snoozed: { who: alert.snoozed.who, until: stamp(run, t + alert.snoozed.leftS * 1000) } }),
  };
}

export const notJudgedMessage = ({ subject, what, who, untilMs }: Mark): NotJudgedMessage => ({
  subject,
  what,
  who,
  until: isoTime(untilMs),
});

/** The public list of open alerts, worst first as given. Throws when an id is missing: ids stand index for index. */
export function openMessage(numbered: NumberedOpen, context: Pick<RenderContext, 'replay'> = {}): OpenMessage {
  const { open, run } = numbered;
  return {
    v: 1,
    ...(context.replay === true && { replay: true as const }),
    store: numbered.store,
    asOf: numbered.asOf,
    at: stamp(run, open.t),
    synced: run.synced,
    trailer: open.trailer,
    alerts: open.alerts.map((alert, index) => {
      const id = numbered.alertIds[index];
      if (id === undefined) throw new Error(`open list without an id for alert ${alert.alert}`);
      return openAlert(alert, id, numbered.causeIds[index] ?? null, run, open.t);
    }),
    muted: open.muted.map(({ rule, subject, urgency, by }) => ({ rule, subject, urgency, by })),
    ...(open.notJudged?.length > 0 && { notJudged: open.notJudged.map(notJudgedMessage) }),
    more: 0,
  };
}

/** The public readings. Values come rounded to what their senders can say, and are not touched. */
export function readingMessage(
  report: ReadingReport,
  run: RunInfo,
  context: Pick<RenderContext, 'replay'> = {},
): ReadingMessage {
  return {
    v: 1,
    ...(context.replay === true && { replay: true as const }),
    at: stamp(run, report.t),
    r: report.r,
  };
}

/**
 * The canonical form as one JSON line without its end: what two runs must have in common byte for byte. Keys in schema order,
 * numbers at their unit's step, times in stream milliseconds, alerts by ordinal; without what names the place it ran at
 * (fleet, truck, config, version, store, boot, seq), wall times, and words (place, advice, basis).
 */
export function canonicalEvent(draft: EventDraft): string {
  return JSON.stringify({
    v: 1,
    trailer: draft.trailer,
    alert: draft.alert,
    cause: draft.cause,
    rule: draft.rule,
    kind: draft.kind,
    subject: draft.subject,
    change: draft.change,
    ...(draft.reason !== null && { reason: draft.reason }),
    ...said(draft),
    urgency: draft.urgency,
    was: draft.was,
    since: draft.t - draft.sinceAgoMs,
    at: draft.t,
    measured: roundedMeasured(draft.measured),
    evidence: roundedEvidence(draft.evidence, (ago) => draft.t - ago),
    forecast: roundedForecast(draft.forecast, (ms) => draft.t + ms),
    vehicle: roundedVehicle(draft.vehicle),
  });
}
