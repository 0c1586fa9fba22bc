import type { Socket } from 'node:net';
import cookie from '@fastify/cookie';
import helmet from '@fastify/helmet';
import rateLimit from '@fastify/rate-limit';
import { type FastifyInstance, type FastifyReply, type FastifyRequest, fastify, type HTTPMethods } from 'fastify';
import type { WallMs } from '../../daemon/time.js';
import type { BoardSource } from './board-source.js';
import { answerOf, WebError } from './errors.js';
import { type Guards, guardsOf } from './guards.js';
import type { Hasher } from './hash.js';
import { helmetOptions, PERMISSIONS_POLICY } from './headers.js';
import type { WebLimits } from './limits.js';
import { LiveBoard } from './live.js';
import type { OwnAddress } from './own-address.js';
import type { PageFile } from './pages.js';
import { ProxySignIn } from './proxy.js';
import { type Route, routesOf } from './routes.js';
import { Sessions } from './sessions.js';
import type { WebSettings } from './settings.js';
import type { WebLog } from './web-log.js';

/** How often Node looks for requests that take too long. */
const CHECK_MS = 1_000;
const METHODS: readonly HTTPMethods[] = ['GET', 'HEAD', 'POST', 'PUT', 'PATCH', 'DELETE', 'OPTIONS', 'TRACE'];

export interface AppOptions {
  settings: WebSettings;
  own: OwnAddress;
  source: BoardSource;
  pages: readonly PageFile[];
  hasher: Hasher;
  limits: WebLimits;
  log: WebLog;
  nowMs: () => WallMs;
}

/** The server with all its routes, not listening yet. */
export async function buildApp(options: AppOptions): Promise<{ app: FastifyInstance; live: LiveBoard }> {
  const { settings, own, source, limits, log } = options;
  const app = emptyApp(options);
  await app.register(helmet, helmetOptions(own.isHttps));
  await app.register(cookie);
  await app.register(rateLimit, { global: false });
  app.decorateRequest('caller', null);
  const sessions = settings.signIn.kind === 'accounts' ? sessionsOf(options) : null;
  const signIn = sessions ?? proxyOf(options);
  const guards = guardsOf({ app, own, signIn, limits });
  app.addHook('onRequest', async (request, reply) => {
    reply.headers({ 'cache-control': 'no-store', 'permissions-policy': PERMISSIONS_POLICY });
    await guards.host(request);
    await guards.anything(request);
  });
  const isAlive = signIn.isAlive.bind(signIn);
  const live = new LiveBoard({ source, limits, isAlive, onError: (error) => log.error(answerOf(error).log ?? '') });
  addRoutes(app, routesOf({ source, pages: options.pages, guards, live, sessions, limits, log }), guards);
  return { app, live };
}

function emptyApp({ settings, limits, log }: AppOptions): FastifyInstance {
  const { bodyBytes: bodyLimit, headerBytes: maxHeaderSize, requestMs: requestTimeout } = limits;
  const app = fastify({
    bodyLimit,
    requestTimeout,
    http: { maxHeaderSize, headersTimeout: requestTimeout, connectionsCheckingInterval: CHECK_MS },
    // Only the last entry is the proxy's own word; those before it came with the request.
    trustProxy: settings.forwardedFor === true ? (_address, hop) => hop === 0 : false,
    frameworkErrors: (error, _request, reply) => void answer(reply as unknown as FastifyReply, error, log),
    clientErrorHandler: refuseNonsense,
  });
  app.server.maxConnections = limits.connections;
  app.removeAllContentTypeParsers();
  const parse = app.getDefaultJsonParser('error', 'error');
  // A sign-out has no body, whatever its type says.
  app.addContentTypeParser('application/json', { parseAs: 'string' }, (request, body, done) =>
    body === '' ? done(null, null) : parse(request, body as string, done),
  );
  app.setErrorHandler((error, _request, reply) => answer(reply, error, log));
  app.setNotFoundHandler(() => {
    throw new WebError(404, 'there is nothing here');
  });
  return app;
}

/** What Node could not read as a request. */
const NONSENSE: Readonly<Record<string, [head: string, line: string]>> = {
  HPE_HEADER_OVERFLOW: ['431 Request Header Fields Too Large', 'the headers of this request are too long'],
  ERR_HTTP_REQUEST_TIMEOUT: ['408 Request Timeout', 'the request did not end in time'],
};

function refuseNonsense({ code }: { code: string }, socket: Socket): void {
  if (!socket.writable) {
    socket.destroy();
    return;
  }
  const [head, error] = NONSENSE[code] ?? ['400 Bad Request', 'this is no request'];
  const body = JSON.stringify({ error });
  const headers = [
    'Content-Type: application/json; charset=utf-8',
    `Content-Length: ${body.length}`,
    'X-Content-Type-Options: nosniff',
    'Connection: close',
  ];
  socket.end(`HTTP/1.1 ${head}\r\n${headers.join('\r\n')}\r\n\r\n${body}`);
}

function answer(reply: FastifyReply, error: unknown, log: WebLog): FastifyReply {
  const { status, line, headers, log: inside } = answerOf(error);
  if (inside !== null) log.error(inside);
  // Set here too, as an address that is none comes past the hooks.
  reply.headers({ 'cache-control': 'no-store', 'x-content-type-options': 'nosniff', ...headers });
  return reply.code(status).type('application/json; charset=utf-8').send({ error: line });
}

function addRoutes(app: FastifyInstance, routes: readonly Route[], guards: Guards): void {
  const methods = new Map<string, HTTPMethods[]>();
  for (const { method, url, guards: names, handle } of routes) {
    const isGetWithHead = method === 'GET' && url !== '/live';
    methods.set(url, [...(methods.get(url) ?? []), method, ...(isGetWithHead ? (['HEAD'] as const) : [])]);
    const onRequest = names.map((name) => (request: FastifyRequest) => guards[name](request));
    app.route({
      method,
      url,
      onRequest,
      exposeHeadRoute: isGetWithHead,
      handler: async (request, reply) => handle(request, reply),
    });
  }
  for (const [url, known] of methods) refuseOthers(app, url, known);
}

function refuseOthers(app: FastifyInstance, url: string, known: readonly HTTPMethods[]): void {
  const allow = known.join(', ');
  const refuse = async (): Promise<never> => {
    throw new WebError(405, `this can be asked with ${allow}`, { allow });
  };
  const method = METHODS.filter((each) => !known.includes(each));
  // Before a body is read, of whatever type.
  app.route({ method, url, onRequest: refuse, exposeHeadRoute: false, handler: refuse });
}

function sessionsOf({ source, hasher, nowMs, limits, own }: AppOptions): Sessions {
  return new Sessions({ store: source.store, hasher, nowMs, sessionMs: limits.sessionMs, isHttps: own.isHttps });
}

function proxyOf({ settings: { signIn }, nowMs, limits }: AppOptions): ProxySignIn {
  if (signIn.kind !== 'proxy') throw new Error('not signed in by a proxy');
  return new ProxySignIn({ ...signIn, nowMs, aliveMs: limits.liveByProxyMs });
}
