import { z } from 'zod';
import { type Json, jsonOf, oneOfWords } from './json-forms.js';
import { nearest } from './problems.js';
import { type Complaint, type Parsed, parseQuantity } from './quantities.js';
import { NAME } from './scalars.js';

/*
 * Kinds of values that only the office file has. As in scalars.ts each makes one kind of value of a text, and has its form for
 * editors beside it.
 */

const forms = new WeakMap<object, () => Json>();

/** What the JSON Schema says of such a value. */
export const officeFormOf = (schema: object): Json | undefined => forms.get(schema)?.();

export const isMap = (node: unknown): node is Record<string, unknown> =>
  typeof node === 'object' && node !== null && !Array.isArray(node);

function from<T>(json: Json, parse: (text: string) => Parsed<T>): z.ZodType<T> {
  const schema = z.string().transform((text, ctx) => {
    const parsed = parse(text.trim());
    if (parsed.complaint === undefined) return parsed.value;
    ctx.addIssue({ code: 'custom', message: parsed.complaint.text, params: { hint: parsed.complaint.hint } });
    return z.NEVER;
  });
  forms.set(schema, () => json);
  return schema as unknown as z.ZodType<T>;
}

const complaint = (text: string, hint: string): { complaint: Complaint } => ({ complaint: { text, hint } });

/**
 * One value, or a map in its place: a choice that has more to say. A union would say of a mistake in either only that neither fits.
 * `json`: what the JSON Schema says of the choice.
 */
export function either<A, B>(one: z.ZodType<A>, whole: z.ZodType<B>, json: () => Json): z.ZodType<A | B> {
  const schema = z.unknown().transform((value, ctx) => {
    const result = (isMap(value) ? whole : one).safeParse(value);
    if (result.success) return result.data;
    for (const issue of result.error.issues) ctx.issues.push({ ...issue, input: value } as z.core.$ZodRawIssue);
    return z.NEVER;
  });
  forms.set(schema, json);
  return schema as unknown as z.ZodType<A | B>;
}

const NEVER = 'never';

/** A duration in s, or null where "never" is written. */
export const durationOrNever = (low: number, high: number): z.ZodType<number | null> =>
  from<number | null>(
    { anyOf: [jsonOf({ is: 'quantity', dimension: 'duration', low, high }), oneOfWords([NEVER])] },
    (text) => {
      if (text.toLowerCase() === NEVER) return { value: null };
      const parsed = parseQuantity(text, 'duration', { low, high });
      return parsed.complaint === undefined
        ? parsed
        : complaint(parsed.complaint.text, `${parsed.complaint.hint}, or ${NEVER}`);
    },
  );

/** Minutes of the day, 00:00 to 23:59. */
export const timeOfDay = (): z.ZodType<number> =>
  from({ type: 'string', pattern: '^\\s*([01]?\\d|2[0-3]):[0-5]\\d\\s*$' }, (text) => {
    const [, hours, minutes] = /^([01]?\d|2[0-3]):([0-5]\d)$/.exec(text) ?? [];
    if (minutes !== undefined) return { value: Number(hours) * 60 + Number(minutes) };
    return complaint(`"${text}" is not a time of day`, 'write for example "08:00" (0:00 to 23:59)');
  });

export const DAYS = ['sun', 'mon', 'tue', 'wed', 'thu', 'fri', 'sat'] as const;

export const timeZone = (): z.ZodType<string> =>
  from({ type: 'string', pattern: '^[A-Za-z][A-Za-z0-9_+\\-/]*$' }, (text) => {
    try {
      return { value: new Intl.DateTimeFormat('en', { timeZone: text }).resolvedOptions().timeZone };
    } catch {
      const near = nearest(text, Intl.supportedValuesOf('timeZone'));
      return complaint(
        `"${text}" is not a time zone`,
        near === null ? 'write for example America/Chicago, or UTC' : `did you mean ${near}?`,
      );
    }
  });

/** A plain address without a name before it: nothing of it can become another field of a message. */
const ADDRESS = /^[A-Za-z0-9.!#$%&'*+/=?^_{|}~-]{1,64}@[A-Za-z0-9](?:[A-Za-z0-9.-]{0,251}[A-Za-z0-9])?$/;

export const mailAddress = (): z.ZodType<string> =>
  from({ type: 'string', pattern: ADDRESS.source }, (text) =>
    ADDRESS.test(text)
      ? { value: text }
      : complaint('this is not a plain e-mail address', 'write for example dispatch@northline.example'),
  );

/** A header field's name, narrower than RFC 9110's token; in small letters. */
const HEADER = /^(?!null$)[A-Za-z][A-Za-z0-9-]{0,63}$/i;

export const headerName = (): z.ZodType<string> =>
  from({ type: ['string', 'boolean'], pattern: HEADER.source }, (text) =>
    HEADER.test(text)
      ? { value: text.toLowerCase() }
      : complaint(`"${text}" is not the name of a header`, 'write for example x-user'),
  );

export type Listen = { kind: 'tcp'; host: string; port: number } | { kind: 'unix'; path: string };

const HOST = /^(?:\[([0-9A-Fa-f:.]{2,45})\]|([A-Za-z0-9](?:[A-Za-z0-9.-]{0,252})?)):(\d{1,5})$/;
/** sun_path of unix(7) holds 108 bytes with its end. */
const MAX_SOCKET_PATH_BYTES = 107;

export const listen = (): z.ZodType<Listen> =>
  from({ type: 'string', pattern: '^\\s*(/[^\\u0000-\\u001f]+|\\S+:\\d{1,5})\\s*$' }, (text): Parsed<Listen> => {
    if (text.startsWith('/')) {
      if (Buffer.byteLength(text) <= MAX_SOCKET_PATH_BYTES && !/\p{Cc}/u.test(text)) {
        return { value: { kind: 'unix', path: text } };
      }
      return complaint('this path is too long for a socket', `at most ${MAX_SOCKET_PATH_BYTES} bytes are possible`);
    }
    const [, v6, host, port] = HOST.exec(text) ?? [];
    if (port === undefined || Number(port) > 65_535) {
      return complaint(
        `"${text}" is not an address to listen at`,
        'write host:port, or the path of a socket: 127.0.0.1:8430',
      );
    }
    return { value: { kind: 'tcp', host: v6 ?? host!, port: Number(port) } };
  });

/** As a key; `null` is nothing to YAML. */
export const isName = (text: string): boolean => NAME.test(text) && !/^null$/i.test(text);
