import type { FastifyRequest } from 'fastify';
import type { WallMs } from '../../daemon/time.js';

/** Who speaks. */
export interface Caller {
  name: string;
  /** Every write must carry it in the header x-axlepost-token. */
  token: string;
  /** What its live streams are counted by, and its session is found by; never the cookie itself. */
  key: string;
  untilMs: WallMs;
}

/** One of the two ways in: accounts of the office's own, or a reverse proxy. */
export interface SignIn {
  readonly kind: 'accounts' | 'proxy';
  caller(request: FastifyRequest): Promise<Caller | null>;
  /** Is it still signed in? Asked of streams, which outlive their request. */
  isAlive(caller: Caller): Promise<boolean>;
}

export const TOKEN_HEADER = 'x-axlepost-token';

declare module 'fastify' {
  interface FastifyRequest {
    /** Null until the session was looked up, and on what everybody may see. */
    caller: Caller | null;
  }
}
