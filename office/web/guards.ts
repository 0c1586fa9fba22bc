import { isIP } from 'node:net';
import { normalizeIP } from '@fastify/rate-limit';
import type { FastifyInstance, FastifyRequest } from 'fastify';
import { type Caller, type SignIn, TOKEN_HEADER } from './caller.js';
import { WebError } from './errors.js';
import type { WebLimits } from './limits.js';
import type { OwnAddress } from './own-address.js';
import { ProxySignIn } from './proxy.js';
import { isSameSecret } from './secret.js';

/** Lets a request through or throws a WebError. */
export type Guard = (request: FastifyRequest) => Promise<void>;

const ABSOLUTE = /^[a-z][a-z\d+.-]*:\/\/([^/?#]*)/i;
const MINUTE_MS = 60_000;

export interface Guards {
  /** For everything, page files and what is not there included. */
  host: Guard;
  anything: Guard;
  /** Puts the caller into the request. */
  session: Guard;
  /** Of reads: not asked for by another site's page. */
  sameSite: Guard;
  /** Of writes: asked for by the board's own page, and by nothing else. */
  sameOrigin: Guard;
  token: Guard;
  reads: Guard;
  writes: Guard;
  signInOfAddress: Guard;
  /** In the handler, as the name stands in the body. */
  signInOfName(request: FastifyRequest, name: string): Promise<void>;
}

export interface GuardsOptions {
  app: FastifyInstance;
  own: OwnAddress;
  signIn: SignIn;
  limits: WebLimits;
}

export function guardsOf({ app, own, signIn, limits }: GuardsOptions): Guards {
  const names = new WeakMap<FastifyRequest, string>();
  const limited = (max: number, timeWindow: number, key: (request: FastifyRequest) => string): Guard => {
    const count = app.createRateLimit({ max, timeWindow, keyGenerator: key });
    return async (request) => {
      const result = await count(request);
      if (result.isAllowed || !result.isExceeded) return;
      const line = `too often; try again in ${result.ttlInSeconds} s`;
      throw new WebError(429, line, { 'retry-after': String(result.ttlInSeconds) });
    };
  };
  const ofName = limited(limits.signInsOfName, 15 * MINUTE_MS, (request) => names.get(request)!);
  const byName = (request: FastifyRequest): string => request.caller!.name;
  return {
    ...originGuards(own),
    anything: limited(limits.anything, MINUTE_MS, (request) => nameByProxy(signIn, request) ?? addressOf(request)),
    session: async (request) => {
      request.caller = await signIn.caller(request);
      if (request.caller === null) throw new WebError(401, 'nobody is signed in');
    },
    token: async ({ headers, caller }) => requireToken(headers[TOKEN_HEADER], caller!),
    reads: limited(limits.reads, MINUTE_MS, byName),
    writes: limited(limits.writes, MINUTE_MS, byName),
    signInOfAddress: limited(limits.signInsOfAddress, MINUTE_MS, addressOf),
    signInOfName: async (request, name) => {
      names.set(request, name);
      await ofName(request);
    },
  };
}

/**
 * Browsers say in Origin and Sec-Fetch-Site where a request comes from, and pages cannot change that. A write without either comes from no
 * browser that can be trusted with it.
 */
function originGuards(own: OwnAddress): Pick<Guards, 'host' | 'sameSite' | 'sameOrigin'> {
  return {
    host: async ({ raw }) => {
      const [host, second] = raw.headersDistinct.host ?? [];
      // A whole address in place of a path counts before Host (RFC 9112, section 3.2.2).
      const target = ABSOLUTE.exec(raw.url ?? '')?.[1] ?? host;
      if (second !== undefined || !own.isHost(host) || !own.isHost(target)) throw new WebError(421, own.line);
    },
    sameSite: async ({ headers }) => {
      const site = headers['sec-fetch-site'];
      // none: typed, or from a bookmark.
      if (site !== undefined && site !== 'same-origin' && site !== 'none') {
        throw new WebError(403, 'asked for by the page of another site');
      }
    },
    sameOrigin: async ({ headers }) => {
      const { origin, host, 'sec-fetch-site': site } = headers;
      const isOwn = origin === undefined ? site === 'same-origin' : own.isOrigin(origin, host);
      if (!isOwn || (site !== undefined && site !== 'same-origin')) {
        throw new WebError(403, `asked for by another page than the board's own; ${own.line}`);
      }
    },
  };
}

function requireToken(given: string | string[] | undefined, { token }: Caller): void {
  if (typeof given !== 'string' || !isSameSecret(given, token)) {
    throw new WebError(403, `the header ${TOKEN_HEADER} is not that of this session; load the page again`);
  }
}

/** Who comes through a proxy that signs people in has one address with all others. */
function nameByProxy(signIn: SignIn, request: FastifyRequest): string | null {
  const name = signIn instanceof ProxySignIn ? signIn.callerOf(request)?.name : undefined;
  return name === undefined ? null : `name ${name}`;
}

/** Of IPv6 the network, as each home has one of those. A unix socket has none. */
export const addressOf = ({ ip }: FastifyRequest): string => (isIP(ip ?? '') === 0 ? 'unknown' : normalizeIP(ip));
