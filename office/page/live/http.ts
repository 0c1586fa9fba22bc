import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import type { Series, TruckPage } from '../../core/board-model.js';
import type { Wish } from '../../core/model.js';

/** Who is signed in; token goes with every write. */
export interface Me {
  name: string;
  token: string;
  /** By a reverse proxy: signing out is its matter. */
  signIn?: 'accounts' | 'proxy';
}

interface TruckName {
  fleet: string;
  truck: string;
}

/** What somebody asks for; the office knows who. */
export type Asked = Omit<Wish, 'who'>;

/** What came of it. `lost`: nobody knows that it arrived. */
export type Outcome = { kind: 'sent' } | { kind: 'refused'; why: string } | { kind: 'signed-out' } | { kind: 'lost' };

const json = { 'content-type': 'application/json' };

const truckPath = (fleet: string, truck: string): string =>
  `/trucks/${encodeURIComponent(fleet)}/${encodeURIComponent(truck)}`;

/** @throws TypeError where the office cannot be reached */
export async function whoAmI(): Promise<Me | null> {
  const response = await fetch('/me', { cache: 'no-store' });
  if (response.status === 401) return null;
  if (!response.ok) throw new TypeError(`status ${response.status}`);
  return (await response.json()) as Me;
}

/** Null when it worked, else why not, in words. */
export async function signIn(name: string, password: string): Promise<string | null> {
  try {
    const { status, ok } = await fetch('/sign-in', {
      method: 'POST',
      headers: json,
      body: JSON.stringify({ name, password }),
    });
    if (ok) return null;
    if (status === 401) return 'Name and password do not belong together.';
    if (status === 429) return 'Too many attempts. Wait a minute, then try again.';
    return `The office did not take it (status ${status}).`;
  } catch {
    return 'The office cannot be reached.';
  }
}

export const signOut = (me: Me): Promise<unknown> =>
  fetch('/sign-out', { method: 'POST', headers: { 'x-axlepost-token': me.token } }).catch(() => null);

export function wish(me: Me, truck: TruckName, asked: Asked): Promise<Outcome> {
  const { note, minutes, ...rest } = asked;
  const body = { ...rest, ...(note !== null && { note }), ...(minutes !== null && { minutes }) };
  return write(me, `${truckPath(truck.fleet, truck.truck)}/wishes`, body);
}

/** Says which trailer is coupled; null: nobody knows. */
export const couple = (me: Me, truck: TruckName, trailer: string | null): Promise<Outcome> =>
  write(me, `${truckPath(truck.fleet, truck.truck)}/trailer`, { trailer });

async function write(me: Me, path: string, body: unknown): Promise<Outcome> {
  try {
    const response = await fetch(path, {
      method: 'POST',
      headers: { ...json, 'x-axlepost-token': me.token },
      body: JSON.stringify(body),
    });
    if (response.ok) return { kind: 'sent' };
    if (response.status === 401) return { kind: 'signed-out' };
    if (response.status === 429) return { kind: 'refused', why: 'too many at once; wait a moment' };
    const { refused } = (await response.json()) as { refused?: unknown };
    return {
      kind: 'refused',
      why: typeof refused === 'string' ? refused : `the office did not take it (status ${response.status})`,
    };
  } catch {
    return { kind: 'lost' };
  }
}

/** Null: there is no such truck. @throws TypeError where it cannot be had */
async function get<T>(path: string): Promise<T | null> {
  const response = await fetch(path, { cache: 'no-store' });
  if (response.status === 404) return null;
  if (!response.ok) throw new TypeError(`status ${response.status}`);
  return (await response.json()) as T;
}

export const truckPage = (fleet: string, truck: string): Promise<TruckPage | null> => get(truckPath(fleet, truck));

export const series = (fleet: string, truck: string, fromMs: number, toMs: number): Promise<Series | null> =>
  get(`${truckPath(fleet, truck)}/series?from=${Math.round(fromMs)}&to=${Math.round(toMs)}`);

/** Where the same is to be had as a table. */
export const csvOf = (query: { fleet?: string; truck?: string; from?: string; to?: string }): string =>
  `/events.csv?${new URLSearchParams(query)}`;

export const events = (query: {
  fleet?: string;
  truck?: string;
  fromMs: number;
  toMs: number;
  limit: number;
}): Promise<ReceivedEvent[] | null> => {
  const { fromMs, toMs, limit, ...which } = query;
  return get(
    `/events?${new URLSearchParams({ ...which, from: String(fromMs), to: String(toMs), limit: String(limit) })}`,
  );
};
