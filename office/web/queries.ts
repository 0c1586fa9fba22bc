import { z } from 'zod';
import { ascii, MAX_LENGTH, name, words } from '../../adapters/mqtt/fields.js';
import type { EventQuery } from '../store/contract.js';
import { WebError } from './errors.js';
import type { WebLimits } from './limits.js';

/** What callers may ask, each checked before anything is done with it. */

/** Digits and nothing else: an empty text is not 0. */
const whole = (max: number) =>
  z
    .string()
    .regex(/^\d{1,16}$/, 'must be a whole number')
    .transform(Number)
    .pipe(z.number().max(max));
const millis = whole(8.64e15);

const keySchema = z.object({ fleet: name, truck: name });

/** One form of a name, so that limits by name cannot be got round by another. */
const typedName = z
  .string()
  .max(MAX_LENGTH.short)
  .transform((text) => text.normalize('NFC'));

const signInSchema = z.strictObject({ name: typedName, password: z.string().max(1_024) });

/** A note is one line; what was typed in several becomes one. */
const note = z
  .string()
  .max(2 * MAX_LENGTH.basis)
  .transform((text) => text.replace(/\s+/gu, ' ').trim())
  .pipe(words(MAX_LENGTH.basis))
  .transform((text) => (text === '' ? null : text));

const wishSchema = z.strictObject({
  alert: ascii(MAX_LENGTH.id).min(1),
  do: z.enum(['take', 'snooze', 'resume', 'close']),
  note: note.nullable().default(null),
  minutes: z.number().int().min(1).max(720).nullable().default(null),
});

const trailerSchema = z.strictObject({ trailer: ascii(MAX_LENGTH.trailer).min(1).nullable() });

const seriesSchema = z.strictObject({ from: millis, to: millis });

const eventsSchema = z.strictObject({
  fleet: name.optional(),
  truck: name.optional(),
  alert: ascii(MAX_LENGTH.id).optional(),
  from: millis.optional(),
  to: millis.optional(),
  limit: whole(1_000_000).optional(),
});

/** Throws a WebError with the first field that is wrong. */
function checked<Schema extends z.ZodType>(schema: Schema, value: unknown, status = 400): z.infer<Schema> {
  const result = schema.safeParse(value);
  if (result.success) return result.data;
  const issue = result.error.issues[0];
  const where = issue?.path.join('.') ?? '';
  throw new WebError(status, `${where === '' ? '' : `${where}: `}${issue?.message ?? 'not as expected'}`);
}

/** A truck that cannot exist is one that is not there. */
export function keyOf(params: unknown): z.infer<typeof keySchema> {
  const result = keySchema.safeParse(params);
  if (!result.success) throw new WebError(404, 'there is no such truck');
  return result.data;
}

export const signInOf = (body: unknown): z.infer<typeof signInSchema> => checked(signInSchema, body);

export const wishOf = (body: unknown): z.infer<typeof wishSchema> => checked(wishSchema, body);

export const trailerOf = (body: unknown): z.infer<typeof trailerSchema> => checked(trailerSchema, body);

export function spanOf(query: unknown, { seriesMs }: Pick<WebLimits, 'seriesMs'>): { fromMs: number; toMs: number } {
  const { from, to } = checked(seriesSchema, query);
  if (from >= to) throw new WebError(400, 'from must be before to');
  if (to - from > seriesMs) throw new WebError(400, `at most ${seriesMs / 86_400_000} days at a time`);
  return { fromMs: from, toMs: to };
}

/** most: also what is given without a limit, up to it. */
export function eventQueryOf(query: unknown, usual: number, most: number): EventQuery {
  const { fleet, truck, alert, from, to, limit = usual } = checked(eventsSchema, query);
  return {
    ...(fleet === undefined ? {} : { fleet }),
    ...(truck === undefined ? {} : { truck }),
    ...(alert === undefined ? {} : { alert }),
    ...(from === undefined ? {} : { fromMs: from }),
    ...(to === undefined ? {} : { toMs: to }),
    limit: Math.min(Math.max(1, limit), most),
  };
}
