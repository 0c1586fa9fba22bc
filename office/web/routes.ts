import type { FastifyReply, FastifyRequest, HTTPMethods } from 'fastify';
import type { BoardSource } from './board-source.js';
import { eventsCsv } from './csv.js';
import { WebError } from './errors.js';
import { addressOf, type Guards } from './guards.js';
import type { WebLimits } from './limits.js';
import { LIVE_HEADERS, type LiveBoard } from './live.js';
import { isUnchanged, type PageFile } from './pages.js';
import { eventQueryOf, keyOf, signInOf, spanOf, trailerOf, wishOf } from './queries.js';
import type { Sessions } from './sessions.js';
import type { WebLog } from './web-log.js';

/** Events of GET /events when no limit was asked for. */
const USUAL_EVENTS = 200;

export interface Route {
  method: HTTPMethods;
  url: string;
  /** In this order, before the body is read. */
  guards: (keyof Omit<Guards, 'signInOfName' | 'host' | 'anything'>)[];
  handle(request: FastifyRequest, reply: FastifyReply): unknown;
}

export interface RoutesOptions {
  source: BoardSource;
  pages: readonly PageFile[];
  guards: Guards;
  live: LiveBoard;
  /** Null: a reverse proxy signs people in. */
  sessions: Sessions | null;
  limits: WebLimits;
  log: WebLog;
}

const READ: Route['guards'] = ['sameSite', 'session', 'reads'];
const WRITE: Route['guards'] = ['session', 'sameOrigin', 'token', 'writes'];

const nothing = (reply: FastifyReply): FastifyReply => reply.code(204).send();

/** Everything that can be asked of the board's server. */
export const routesOf = (options: RoutesOptions): Route[] => [
  ...options.pages.map(pageRoute),
  ...signInRoutes(options),
  ...boardRoutes(options),
];

function pageRoute({ url, type, etag, body }: PageFile): Route {
  return {
    method: 'GET',
    url,
    guards: [],
    handle: ({ headers }, reply) => {
      // A new version of the office has a new page: browsers ask each time, and nearly always get no body.
      reply.headers({ etag, 'cache-control': 'no-cache' });
      return isUnchanged(etag, headers['if-none-match']) ? reply.code(304).send() : reply.type(type).send(body);
    },
  };
}

function signInRoutes({ sessions, guards, live, log }: RoutesOptions): Route[] {
  const signIn = sessions === null ? 'proxy' : 'accounts';
  const me: Route = {
    method: 'GET',
    url: '/me',
    guards: READ,
    handle: ({ caller }) => ({ name: caller!.name, token: caller!.token, signIn }),
  };
  if (sessions === null) return [me];
  return [
    me,
    {
      method: 'POST',
      url: '/sign-in',
      guards: ['sameOrigin', 'signInOfAddress'],
      handle: async (request, reply) => {
        const { name, password } = signInOf(request.body);
        await guards.signInOfName(request, name);
        const former = await sessions.caller(request);
        const caller = await sessions.signIn(name, password, reply);
        if (caller === null) {
          // Not the name: now and then it is a password in the wrong field.
          log.warn(`a sign-in from ${addressOf(request)} was refused: name or password wrong`);
          throw new WebError(401, 'name or password is wrong');
        }
        log.info(`${caller.name} has signed in from ${addressOf(request)}`);
        if (former !== null) await end(former.key);
        return nothing(reply);
      },
    },
    {
      method: 'POST',
      url: '/sign-out',
      guards: WRITE,
      handle: async ({ caller }, reply) => {
        await end(caller!.key);
        sessions.forget(reply);
        return nothing(reply);
      },
    },
  ];

  async function end(key: string): Promise<void> {
    await sessions!.end(key);
    live.endOf(key);
  }
}

function boardRoutes({ source, live, limits }: RoutesOptions): Route[] {
  return [
    { method: 'GET', url: '/live', guards: READ, handle: ({ caller }, reply) => live.start(caller!, reply) },
    { method: 'HEAD', url: '/live', guards: READ, handle: (_, reply) => reply.headers(LIVE_HEADERS).send() },
    {
      method: 'GET',
      url: '/trucks/:fleet/:truck',
      guards: READ,
      handle: async ({ params }) => {
        const page = await source.truckPage(keyOf(params));
        if (page === null) throw new WebError(404, 'there is no such truck');
        return page;
      },
    },
    {
      method: 'GET',
      url: '/trucks/:fleet/:truck/series',
      guards: READ,
      handle: ({ params, query }) => {
        const { fromMs, toMs } = spanOf(query, limits);
        return source.series(keyOf(params), fromMs, toMs);
      },
    },
    {
      method: 'POST',
      url: '/trucks/:fleet/:truck/wishes',
      guards: WRITE,
      handle: async ({ params, body, caller }, reply) => {
        const refused = await source.wish(keyOf(params), { ...wishOf(body), who: caller!.name });
        return refused === null ? nothing(reply) : reply.code(409).send({ refused });
      },
    },
    {
      method: 'POST',
      url: '/trucks/:fleet/:truck/trailer',
      guards: WRITE,
      handle: async ({ params, body }, reply) => {
        const refused = await source.couple(keyOf(params), trailerOf(body).trailer);
        return refused === null ? nothing(reply) : reply.code(409).send({ refused });
      },
    },
    {
      method: 'GET',
      url: '/events',
      guards: READ,
      handle: ({ query }) => source.events(eventQueryOf(query, USUAL_EVENTS, limits.events)),
    },
    {
      method: 'GET',
      url: '/events.csv',
      guards: READ,
      handle: async ({ query }, reply) => {
        const events = await source.events(eventQueryOf(query, limits.csvRows, limits.csvRows));
        reply.header('content-disposition', 'attachment; filename="axlepost-events.csv"');
        return reply.type('text/csv; charset=utf-8; header=present').send(eventsCsv(events));
      },
    },
  ];
}
