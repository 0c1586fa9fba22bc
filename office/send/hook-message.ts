import { createHmac } from 'node:crypto';
import { whatOf } from '../core/board.js';
import type { Notice } from '../core/model.js';
import type { QueuedNotice } from '../store/contract.js';
import { CAUTION } from './caution.js';
import { noticeId } from './notice-id.js';
import { clean, subjectOf } from './text.js';

/**
 * The body of a webhook. docs/office-webhook.md explains it to receivers and is a public interface: additions are fine, renames are
 * not. Keys that `event` has (docs/topics.md) mean the same here; numbers are SI, times ISO 8601 in UTC.
 */
export interface HookMessage {
  v: 1;
  id: string;
  why: Notice['why'];
  at: string;
  text: string;
  fleet: string;
  truck: string;
  trailer: string | null;
  alert: string;
  rule: string;
  what: string;
  kind: 'equipment' | 'system';
  subject: string;
  place: string;
  urgency: string;
  unsure: boolean;
  chattering: boolean;
  ending: string | null;
  since: string;
  synced: boolean;
  measured: Notice['alert']['measured'];
  evidence: Notice['alert']['evidence'];
  forecast: Notice['alert']['forecast'];
  advice: string | null;
  basis: string | null;
  taken: Notice['alert']['taken'];
  snoozed: Notice['alert']['snoozed'];
  note: string | null;
  vehicle: Notice['alert']['vehicle'];
  caution: string;
}

export function hookMessage(queued: Pick<QueuedNotice, 'id' | 'notice'>): HookMessage {
  const { why, ms, fleet, truck, trailer, ending, alert } = queued.notice;
  const { rule, kind, subject, place, urgency, unsure, chattering, since, synced, measured, evidence } = alert;
  const { forecast, advice, basis, taken, snoozed, note, vehicle } = alert;
  return {
    v: 1,
    id: noticeId(queued),
    why,
    at: new Date(ms).toISOString(),
    text: clean(subjectOf(queued.notice)),
    fleet,
    truck,
    trailer,
    alert: alert.id,
    rule,
    what: whatOf(rule),
    ...{ kind, subject, place, urgency, unsure, chattering, ending, since, synced, measured, evidence },
    ...{ forecast, advice, basis, taken, snoozed, note, vehicle },
    caution: CAUTION,
  };
}

/** Names of the headers, in small letters. */
export const HOOK_HEADERS = {
  id: 'axlepost-notice',
  sent: 'axlepost-sent',
  proof: 'axlepost-hmac-sha256',
} as const;

/** HMAC-SHA256 over the instant of sending as the header has it, a line feed, and the body byte for byte; in hexadecimal. */
export const proofOf = (secret: string, sent: string, body: string): string =>
  createHmac('sha256', secret).update(`${sent}\n${body}`, 'utf8').digest('hex');
