import type {
  EventMessage,
  EvidenceMessage,
  MeasuredMessage,
  OpenMessage,
  ReadingMessage,
} from '../../daemon/alerts/message.js';
import {
  type GapMessage,
  MAX_EVENT_BYTES,
  MAX_EVIDENCE_POINTS,
  MAX_LENGTH,
  MAX_NOT_JUDGED,
  MAX_OPEN_BYTES,
  MAX_PRESENCE_BYTES,
  MAX_READING_BYTES,
  type PresenceMessage,
} from './messages.js';

/**
 * Messages as JSON that keeps to the schemas' limits whatever it is given: strings are cleaned and cut, then points of evidence,
 * words and the tail of lists are left out until the size fits. A message is never refused for its content.
 */

/** JSON of one message; `trimmed` when anything had to be left out for its size. */
export interface Encoded {
  json: string;
  trimmed: boolean;
}

const UNPRINTABLE = /[\p{C}\p{Zl}\p{Zp}]/gu;
const NOT_ASCII = /[^\x20-\x7e]/g;

/** Words for people: every control or format character becomes a space. */
export function words(text: string, max: number): string {
  // Cutting may split a surrogate pair; the half that is left is then unprintable too.
  return text.slice(0, max).replace(UNPRINTABLE, ' ');
}

export function ascii(text: string, max: number): string {
  return text.slice(0, max).replace(NOT_ASCII, '?');
}

function asciiOrNull(text: string | null, max: number): string | null {
  return text === null ? null : ascii(text, max);
}

export const bytes = (text: string): number => Buffer.byteLength(text);

function cleanMeasured(measured: MeasuredMessage | null): MeasuredMessage | null {
  if (measured === null || 'silentS' in measured) return measured;
  if ('code' in measured) {
    const text = words(measured.text, MAX_LENGTH.text);
    return measured.of === undefined
      ? { ...measured, text }
      : { ...measured, text, of: words(measured.of, MAX_LENGTH.short) };
  }
  const clean = {
    ...measured,
    quantity: words(measured.quantity, MAX_LENGTH.short),
    unit: words(measured.unit, MAX_LENGTH.unit),
  };
  if (measured.window !== undefined) clean.window = words(measured.window, MAX_LENGTH.short);
  return clean;
}

/** At most `most` points, in order; first, last, lowest and highest are kept as long as there is room for them. */
export function thinPoints(points: EvidenceMessage['points'], most: number): EvidenceMessage['points'] {
  if (points.length <= most) return points;
  let lowest = 0;
  let highest = 0;
  points.forEach(([, value], index) => {
    if (value < points[lowest]![1]) lowest = index;
    if (value > points[highest]![1]) highest = index;
  });
  const keep = new Set([points.length - 1, 0, lowest, highest].slice(0, most));
  for (let i = 1; i < most && keep.size < most; i++) keep.add(Math.round((i * (points.length - 1)) / most));
  return points.filter((_, index) => keep.has(index));
}

function cleanEvent(event: EventMessage): EventMessage {
  const { evidence, forecast } = event;
  return {
    ...event,
    trailer: asciiOrNull(event.trailer, MAX_LENGTH.trailer),
    config: ascii(event.config, MAX_LENGTH.short),
    ...(event.version !== undefined && { version: ascii(event.version, MAX_LENGTH.short) }),
    alert: ascii(event.alert, MAX_LENGTH.id),
    cause: asciiOrNull(event.cause, MAX_LENGTH.id),
    subject: ascii(event.subject, MAX_LENGTH.subject),
    place: words(event.place, MAX_LENGTH.place),
    ...(event.who !== undefined && { who: words(event.who, MAX_LENGTH.short) }),
    ...(event.note !== undefined && { note: words(event.note, MAX_LENGTH.basis) }),
    measured: cleanMeasured(event.measured),
    evidence: evidence && {
      quantity: words(evidence.quantity, MAX_LENGTH.short),
      unit: words(evidence.unit, MAX_LENGTH.unit),
      points: thinPoints(evidence.points, MAX_EVIDENCE_POINTS),
    },
    forecast: forecast && { ...forecast, what: words(forecast.what, MAX_LENGTH.text) },
    advice: words(event.advice, MAX_LENGTH.advice),
    basis: words(event.basis, MAX_LENGTH.basis),
  };
}

/** What an event loses, one after the other, until it fits: what a person needs least comes first. */
const EVENT_TRIMS: ((event: EventMessage) => EventMessage)[] = [
  (e) => ({ ...e, evidence: e.evidence && { ...e.evidence, points: thinPoints(e.evidence.points, 8) } }),
  (e) => ({ ...e, evidence: e.evidence && { ...e.evidence, points: thinPoints(e.evidence.points, 4) } }),
  (e) => ({ ...e, basis: words(e.basis, 60) }),
  (e) => ({ ...e, advice: words(e.advice, 300) }),
  (e) => ({ ...e, evidence: null }),
  (e) => ({ ...e, advice: words(e.advice, 100), basis: '' }),
  (e) => ({ ...e, ...(e.note !== undefined && { note: words(e.note, 60) }) }),
];

/** An event as JSON of at most 4 KB. */
export function encodeEvent(event: EventMessage): Encoded {
  let message = cleanEvent(event);
  let json = JSON.stringify(message);
  let trimmed = false;
  for (const trim of EVENT_TRIMS) {
    if (bytes(json) <= MAX_EVENT_BYTES) break;
    message = trim(message);
    json = JSON.stringify(message);
    trimmed = true;
  }
  return { json, trimmed };
}

/** As many of the pieces from the front as `room` bytes hold, each with its comma. */
export function fitting(pieces: string[], room: number): { taken: string[]; left: number } {
  const taken: string[] = [];
  for (const piece of pieces) {
    const size = bytes(piece) + 1;
    if (size > room) break;
    room -= size;
    taken.push(piece);
  }
  return { taken, left: room };
}

/** The open list as JSON of at most 16 KB: alerts from the worst down, then muted ones; `more` counts what is left out. */
export function encodeOpen(open: OpenMessage): Encoded {
  const alerts = open.alerts.map((a) =>
    JSON.stringify({
      ...a,
      alert: ascii(a.alert, MAX_LENGTH.id),
      cause: asciiOrNull(a.cause, MAX_LENGTH.id),
      subject: ascii(a.subject, MAX_LENGTH.subject),
      place: words(a.place, MAX_LENGTH.place),
      measured: cleanMeasured(a.measured),
      ...(a.taken && { taken: { ...a.taken, who: words(a.taken.who, MAX_LENGTH.short) } }),
      ...(a.snoozed && { snoozed: { ...a.snoozed, who: words(a.snoozed.who, MAX_LENGTH.short) } }),
    }),
  );
  const muted = open.muted.map((m) => JSON.stringify({ ...m, subject: ascii(m.subject, MAX_LENGTH.subject) }));
  const total = alerts.length + muted.length;
  const notJudged = open.notJudged?.slice(0, MAX_NOT_JUDGED).map((n) => ({
    ...n,
    subject: ascii(n.subject, MAX_LENGTH.subject),
    who: words(n.who, MAX_LENGTH.short),
  }));
  const untold = (open.notJudged?.length ?? 0) - (notJudged?.length ?? 0);
  const frame = {
    ...open,
    trailer: asciiOrNull(open.trailer, MAX_LENGTH.trailer),
    alerts: [],
    muted: [],
    ...(notJudged && { notJudged }),
    more: 0,
  };
  const room = MAX_OPEN_BYTES - bytes(JSON.stringify({ ...frame, more: open.more + untold + total }));
  const first = fitting(alerts, room);
  const second = fitting(muted, first.taken.length < alerts.length ? 0 : first.left);
  const left = untold + total - first.taken.length - second.taken.length;
  // Inside a JSON string these letters would have their quotes escaped, so only the keys match.
  const json = JSON.stringify({ ...frame, more: open.more + left })
    .replace('"alerts":[]', () => `"alerts":[${first.taken.join(',')}]`)
    .replace('"muted":[]', () => `"muted":[${second.taken.join(',')}]`);
  return { json, trimmed: left > 0 };
}

/** Readings as JSON of at most 4 KB (1.5 KB for 18 wheels): subjects from the front; `more` counts those left out. */
export function encodeReading(reading: ReadingMessage): Encoded {
  const pieces = Object.entries(reading.r).map(
    ([subject, values]) => `${JSON.stringify(ascii(subject, MAX_LENGTH.subject))}:${JSON.stringify(values)}`,
  );
  const { more: before = 0, ...frame } = { ...reading, r: {} };
  const room = MAX_READING_BYTES - bytes(JSON.stringify({ ...frame, more: before + pieces.length }));
  const { taken } = fitting(pieces, room);
  const left = before + pieces.length - taken.length;
  const json = JSON.stringify(left > 0 ? { ...frame, more: left } : frame).replace(
    '"r":{}',
    () => `"r":{${taken.join(',')}}`,
  );
  return { json, trimmed: left > 0 };
}

/** Presence as JSON of at most 512 bytes: the last complaints go first, then the last buses. */
export function encodePresence(presence: PresenceMessage): Encoded {
  const message = {
    ...presence,
    version: ascii(presence.version, MAX_LENGTH.short),
    config: ascii(presence.config, MAX_LENGTH.short),
    bus: Object.fromEntries(
      Object.entries(presence.bus).map(([name, how]) => [ascii(name, MAX_LENGTH.short), ascii(how, MAX_LENGTH.short)]),
    ),
    degraded: presence.degraded.map((what) => ascii(what, MAX_LENGTH.short)),
  };
  let json = JSON.stringify(message);
  let trimmed = false;
  while (bytes(json) > MAX_PRESENCE_BYTES) {
    const buses = Object.keys(message.bus);
    if (message.degraded.length > 1 || (buses.length === 0 && message.degraded.length > 0)) message.degraded.pop();
    else delete message.bus[buses.at(-1) ?? ''];
    if (message.degraded.length === 0 && buses.length === 0) break;
    json = JSON.stringify(message);
    trimmed = true;
  }
  return { json, trimmed };
}

/** A gap as JSON; its texts are ours and short. */
export function encodeGap(gap: GapMessage): Encoded {
  const what = words(gap.what, MAX_LENGTH.text);
  return { json: JSON.stringify({ ...gap, what, why: words(gap.why, MAX_LENGTH.text) }), trimmed: false };
}
