import { z } from 'zod';
import { NAME_PATTERN } from './topics.js';

/** Fields that several messages have. */

/** Longest text per field, in UTF-16 units. */
export const MAX_LENGTH = {
  id: 100,
  trailer: 64,
  subject: 64,
  place: 120,
  short: 64,
  unit: 16,
  text: 120,
  advice: 800,
  basis: 300,
} as const;

/** Names and identifiers: printable ASCII. */
export const ascii = (max: number) =>
  z
    .string()
    .max(max)
    .regex(/^[\x20-\x7e]*$/, 'must be printable ASCII');
/** Words for people may use any script, but no control, format or private characters. */
export const words = (max: number) =>
  z
    .string()
    .max(max)
    .regex(/^[^\p{C}\p{Zl}\p{Zp}]*$/u, 'must be printable');
export const keyword = z.string().regex(/^[a-z][a-z0-9-]{0,39}$/);
export const name = z.string().regex(NAME_PATTERN);
export const stamp = z.string().regex(/^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z$/);
export const seq = z.number().int().min(0).max(Number.MAX_SAFE_INTEGER);
export const store = z.string().regex(/^~?[A-Za-z0-9_-]{1,32}$/);
export const version1 = z.literal(1);
export const replay = z.literal(true).optional();
