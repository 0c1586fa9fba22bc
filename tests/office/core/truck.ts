import { encodeEvent, encodeOpen } from '../../../adapters/mqtt/encode.js';
import {
  type AnswerMessage,
  answerSchema,
  eventSchema,
  MAX_ANSWER_BYTES,
  MAX_EVENT_BYTES,
  MAX_OPEN_BYTES,
  openSchema,
  parsePayload,
} from '../../../adapters/mqtt/messages.js';
import { URGENCIES } from '../../../config/resolved.js';
import { Numberer } from '../../../daemon/alerts/numbering.js';
import { eventMessage, openMessage } from '../../../daemon/alerts/rendering.js';
import type { TickEffects } from '../../../daemon/effects.js';
import { NEVER } from '../../../daemon/time.js';
import type { Incoming, TruckState } from '../../../office/core/model.js';
import { Rig } from '../../support/rig.js';
import { presenceOf, stamp, T0 } from './messages.js';

/** What the truck and the office must agree on. */
export interface Agreed {
  id: string;
  rule: string;
  subject: string;
  urgency: string;
  unsure: boolean;
  chattering: boolean;
  taken: string;
  snoozed: string;
}

const byId = (a: Agreed, b: Agreed): number => (a.id < b.id ? -1 : 1);

/** The real core of the program, with what it publishes as bytes read again by the schemas of the office. */
export class RealTruck {
  readonly rig = new Rig();
  readonly #run = { zeroWallMs: T0, synced: true };
  readonly #numberer: Numberer;
  #told = 0;

  constructor(store = 'k3f9q2m1x7ab') {
    this.#numberer = new Numberer({ truck: 'T-1042', store });
  }

  /** What was decided since the last call, in order: the events of a tick, then its list. */
  *messages(): Generator<Incoming> {
    for (const effects of this.rig.effects.slice(this.#told)) yield* this.#messagesOf(effects);
    this.#told = this.rig.effects.length;
  }

  *#messagesOf({ t, events, open, life }: TickEffects): Generator<Incoming> {
    const receivedMs = T0 + t;
    const context = { fleet: 'northline', truck: 'T-1042', config: '9c1e44d0', now: receivedMs };
    if (life !== null) yield { ...presenceOf(life, { since: stamp(receivedMs) }), receivedMs };
    const by = { config: '9c1e44d0', version: '0.1.0' };
    for (const event of this.#numberer.number(events, this.#run, by)) {
      const { json } = encodeEvent(eventMessage(event, context));
      yield { kind: 'event', receivedMs, message: read(eventSchema, json, MAX_EVENT_BYTES) };
    }
    if (open === null) return;
    const id = (ordinal: number | null): string | null => this.#numberer.idOf(ordinal);
    const numbered = {
      store: 'k3f9q2m1x7ab',
      asOf: this.#numberer.lastSeq,
      alertIds: open.alerts.map(({ alert }) => id(alert)!),
      causeIds: open.alerts.map(({ cause }) => id(cause)),
      open,
      run: this.#run,
    };
    const { json } = encodeOpen(openMessage(numbered));
    yield { kind: 'open', receivedMs, message: read(openSchema, json, MAX_OPEN_BYTES) };
  }

  /** As it would arrive. */
  answer(t: number, answer: AnswerMessage): void {
    const { trailer, decisions } = read(answerSchema, JSON.stringify(answer), MAX_ANSWER_BYTES);
    const alerts = Object.values(this.rig.pipeline.state.book.alerts);
    const known = decisions.flatMap(({ alert, note = null, minutes = null, ...rest }) => {
      const found = alerts.find(({ ordinal }) => this.#numberer.idOf(ordinal) === alert);
      return found === undefined ? [] : [{ ...rest, note, minutes, alert: found.ordinal }];
    });
    this.rig.stepper.answer(t, { trailer, decisions: known });
  }

  /** Open alerts as the book has them. */
  get open(): Agreed[] {
    return Object.values(this.rig.pipeline.state.book.alerts)
      .filter((a) => a.open)
      .map((a) => ({
        id: this.#numberer.idOf(a.ordinal)!,
        rule: a.rule,
        subject: a.subject,
        urgency: URGENCIES[a.level - 1]!,
        unsure: a.unsure,
        chattering: a.chatter.on,
        taken: a.takenBy,
        snoozed: a.snoozeEndsAt === NEVER ? '' : `${a.snoozedBy} ${Math.round((T0 + a.snoozeEndsAt) / 1000)}`,
      }))
      .sort(byId);
  }
}

/** The same of the office's row. */
export const agreed = (state: TruckState): Agreed[] =>
  state.alerts
    .map(({ id, rule, subject, urgency, unsure, chattering, taken, snoozed }) => ({
      ...{ id, rule, subject, urgency, unsure, chattering },
      taken: taken?.who ?? '',
      snoozed: snoozed === null ? '' : `${snoozed.who} ${Math.round(Date.parse(snoozed.until) / 1000)}`,
    }))
    .sort(byId);

function read<T>(
  schema: Parameters<typeof parsePayload>[0] & { parse(value: unknown): T },
  json: string,
  max: number,
): T {
  const { message, error } = parsePayload(schema, Buffer.from(json), max);
  if (error !== null) throw new Error(error);
  return message as T;
}
