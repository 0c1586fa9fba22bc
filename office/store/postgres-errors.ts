import pg from 'pg';
import { StoreError } from './contract.js';
import type { PostgresAddress } from './postgres-url.js';

/** SQLSTATE, or its class (https://www.postgresql.org/docs/current/errcodes-appendix.html). */
const HINTS: readonly (readonly [code: string, hint: string])[] = [
  ['25006', 'this server only follows another one; name the one that takes writes in its URL'],
  ['28', 'check user and password in its URL, and pg_hba.conf'],
  ['3D000', 'make it with: CREATE DATABASE'],
  ['42501', 'give its user the right: CREATE SCHEMA axlepost_office AUTHORIZATION the user'],
  ['53100', 'make room on its disk'],
  ['53300', 'raise max_connections, or end other programs'],
  ['55P03', 'another program keeps a lock; end its transaction'],
  ['57014', 'it took too long; look what else the server is doing'],
  ['57P', 'the server is being stopped or started; it is tried again'],
  ['XX001', 'it is damaged: stop the office, see docs/office-database.md'],
  ['XX002', 'an index is damaged: stop the office, see docs/office-database.md'],
];
const AWAY = 'is the server running, and can it be reached from here?';

export const codeOf = (error: unknown): string =>
  error instanceof Error && 'code' in error ? String((error as { code: unknown }).code) : '';

/** SQLSTATE of what made it, or the code of the socket. */
export const causeOf = (error: unknown): string => (error instanceof StoreError ? codeOf(error.cause) : '');

/** The way to the server is broken, or it does not answer: nothing more can be said on that connection. */
export const isWayBroken = (error: unknown): boolean =>
  error instanceof StoreError && !(error.cause instanceof pg.DatabaseError);

/** Whatever the database or the way to it has said, in one line without its password. */
export function asStoreError(error: unknown, { place, hide }: Pick<PostgresAddress, 'place' | 'hide'>): StoreError {
  if (error instanceof StoreError) return error;
  // Node tries all addresses of a name and gathers what each has said; the message of that is empty.
  const first = error instanceof AggregateError ? (error.errors[0] as unknown) : error;
  const text = first instanceof Error ? first.message : String(first);
  const code = codeOf(first);
  const hint = first instanceof pg.DatabaseError ? HINTS.find(([prefix]) => code.startsWith(prefix))?.[1] : AWAY;
  return new StoreError(hide(`${place}: ${text}${hint === undefined ? '' : `; ${hint}`}`), { cause: first });
}
