import type { WallMs } from '../../daemon/time.js';
import { buildApp } from './app.js';
import type { BoardSource } from './board-source.js';
import { WebStartError } from './errors.js';
import { type HashCost, Hasher } from './hash.js';
import { WEB_LIMITS, type WebLimits } from './limits.js';
import { listenAt } from './listen.js';
import { isLoopback, OwnAddress } from './own-address.js';
import { readPages } from './pages.js';
import type { WebSettings } from './settings.js';
import type { WebLog } from './web-log.js';

export interface BoardServerOptions {
  settings: WebSettings;
  source: BoardSource;
  /** With index.html and what it needs, as the build makes it. */
  pageFolder: string;
  log: WebLog;
  /** The wall clock: sessions end by it. */
  nowMs?: () => WallMs;
  /** Other than the defaults in tests. */
  limits?: Partial<WebLimits>;
  hashCost?: HashCost;
}

export interface BoardServer {
  /** For people: the configured address, else where it listens. */
  url: string;
  /** Where it listens; its port is the real one when 0 was asked for. */
  listening: string;
  /** Streams that are open, were too slow, or were one too many; hashes of passwords. */
  counts(): { live: number; dropped: number; refused: number; hashes: Hasher['counts'] };
  /** Streams end, requests under way are answered, and what is left after 1.5 s is cut. */
  close(): Promise<void>;
}

/** Throws a WebStartError, one line, when it is not safe or not possible to start so. */
export async function startBoardServer(options: BoardServerOptions): Promise<BoardServer> {
  const { settings, source, log } = options;
  refuseUnsafe(settings);
  const own = new OwnAddress(settings);
  const limits = { ...WEB_LIMITS, ...options.limits };
  const pages = readPages(options.pageFolder, limits);
  const { hashesAtOnce: atOnce, hashesWaiting: waiting } = limits;
  const hasher = new Hasher({ atOnce, waiting, ...(options.hashCost === undefined ? {} : { cost: options.hashCost }) });
  const nowMs = options.nowMs ?? Date.now;
  const { app, live } = await buildApp({ settings, own, source, pages, hasher, limits, log, nowMs });
  const closed = async (): Promise<void> => {
    live.close();
    const cut = setTimeout(() => app.server.closeAllConnections(), limits.closeMs);
    await app.close();
    clearTimeout(cut);
  };
  const listening = await listenAt(app, settings.listen).catch(async (error: unknown) => {
    await closed();
    throw error;
  });
  const url = settings.origin ?? listening;
  log.info(`the board is at ${url}${url === listening ? '' : `, from ${listening}`}`);
  if (!isLoopback(settings.listen) && !own.isHttps) log.warn(plainLine(listening));
  let closing: Promise<void> | null = null;
  return {
    url,
    listening,
    counts: () => ({ live: live.open, ...live.counts, hashes: { ...hasher.counts } }),
    close: () => {
      closing ??= closed();
      return closing;
    },
  };
}

/** Of the proxy's secret: as a key of 128 bits has in base64. */
const FEWEST_SECRET_CHARS = 22;

function refuseUnsafe({ listen, signIn, forwardedFor }: WebSettings): void {
  if (signIn.kind === 'proxy' && signIn.secret.length < FEWEST_SECRET_CHARS) {
    throw new WebStartError(
      `the secret that the reverse proxy and the board share has at least ${FEWEST_SECRET_CHARS} characters: openssl rand -base64 24`,
    );
  }
  if (isLoopback(listen)) return;
  const only = 'a unix socket or loopback only (board: {listen: 127.0.0.1:8430})';
  if (signIn.kind === 'proxy') {
    throw new WebStartError(`a reverse proxy that signs people in speaks to the board over ${only}`);
  }
  if (forwardedFor === true) throw new WebStartError(`X-Forwarded-For is believed over ${only}`);
}

const plainLine = (listening: string): string =>
  `${listening} is reached without TLS: passwords can be read on the way; put a reverse proxy with TLS in front and name its address (board: {origin: https://…})`;
