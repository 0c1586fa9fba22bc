import type { ReceivedEvent, ReceivedOpen } from '../../adapters/mqtt/messages.js';
import { URGENCIES, type Urgency } from '../../config/resolved.js';
import type { WallMs } from '../../daemon/time.js';
import type { OfficeAlert, Standing } from './model.js';

export const rankOf = (urgency: Urgency): number => URGENCIES.indexOf(urgency);

type Details = Pick<OfficeAlert, 'evidence' | 'forecast' | 'advice' | 'basis' | 'vehicle' | 'detailSeq'>;
type Body = Omit<OfficeAlert, keyof Details | keyof Standing | keyof Attended>;
/** What the office itself knows of an alert. */
export type Attended = Pick<OfficeAlert, 'urgentSinceMs' | 'untakenMs' | 'told'>;

/** The parts of an alert put together. Key by key, as spreading this many is some forty times slower, and every list does it. */
export const assembled = (b: Body, d: Details, s: Standing, a: Attended): OfficeAlert => ({
  id: b.id,
  store: b.store,
  cause: b.cause,
  rule: b.rule,
  kind: b.kind,
  subject: b.subject,
  place: b.place,
  urgency: b.urgency,
  unsure: s.unsure,
  chattering: s.chattering,
  since: b.since,
  at: b.at,
  synced: b.synced,
  measured: b.measured,
  evidence: d.evidence,
  forecast: d.forecast,
  advice: d.advice,
  basis: d.basis,
  vehicle: d.vehicle,
  taken: s.taken,
  snoozed: s.snoozed,
  note: s.note,
  noteSeq: s.noteSeq,
  lastSeq: b.lastSeq,
  detailSeq: d.detailSeq,
  urgentSinceMs: a.urgentSinceMs,
  untakenMs: a.untakenMs,
  told: a.told,
});

/** What every event says of its alert. */
export const bodyOfEvent = (e: ReceivedEvent, store: string, lastSeq: number): Body => ({
  id: e.alert,
  store,
  cause: e.cause,
  rule: e.rule,
  kind: e.kind,
  subject: e.subject,
  place: e.place,
  urgency: e.urgency,
  since: e.since,
  at: e.at,
  synced: e.synced,
  measured: e.measured,
  lastSeq,
});

/** What only events say. */
export const detailsOf = (e: ReceivedEvent, detailSeq: number): Details => ({
  evidence: e.evidence,
  forecast: e.forecast,
  advice: e.advice,
  basis: e.basis,
  vehicle: e.vehicle,
  detailSeq,
});

export const NO_DETAILS: Details = {
  evidence: null,
  forecast: null,
  advice: null,
  basis: null,
  vehicle: null,
  detailSeq: 0,
};

export type ListedAlert = ReceivedOpen['alerts'][number];

export const bodyOfListed = (open: ReceivedOpen, a: ListedAlert): Body => ({
  id: a.alert,
  store: open.store,
  cause: a.cause,
  rule: a.rule,
  kind: a.kind,
  subject: a.subject,
  place: a.place,
  urgency: a.urgency,
  since: a.since,
  at: open.at,
  synced: open.synced ?? true,
  measured: a.measured,
  lastSeq: open.asOf,
});

/**
 * How long it has been waiting for somebody, and who was told. It begins anew when it gets worse, and when it was put off and is so
 * no more. before: the same alert, or the one whose place it takes.
 */
export function attended(
  before: OfficeAlert | null,
  now: { urgency: Urgency; snoozed: OfficeAlert['snoozed'] },
  ms: WallMs,
): Attended {
  if (before === null) return { urgentSinceMs: ms, untakenMs: null, told: [] };
  const { urgentSinceMs, untakenMs, told } = before;
  const isWorse = rankOf(now.urgency) > rankOf(before.urgency);
  if (isWorse || (before.snoozed !== null && now.snoozed === null)) return { urgentSinceMs: ms, untakenMs: null, told };
  return { urgentSinceMs, untakenMs, told };
}

/** An alert of another database that stands for the same problem. */
export const predecessorOf = (
  alerts: readonly OfficeAlert[],
  { rule, subject, store }: Pick<OfficeAlert, 'rule' | 'subject' | 'store'>,
): OfficeAlert | null => alerts.find((a) => a.rule === rule && a.subject === subject && a.store !== store) ?? null;

/**
 * When a snooze ends, by the clock of the office: a truck whose clock was not right counts from when the office heard it.
 * saidMs: of the message, by the truck's clock.
 */
export function untilOf(until: WallMs, said: { synced: boolean; saidMs: WallMs; receivedMs: WallMs }): string {
  const ms = said.synced ? until : until - said.saidMs + said.receivedMs;
  return new Date(Math.min(Math.max(ms, 0), LAST_MS)).toISOString();
}
/** 9999-12-31T23:59:59.999Z: beyond it years have more than four digits. */
const LAST_MS = 253_402_300_799_999;
