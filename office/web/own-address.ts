import { isIP } from 'node:net';
import { WebStartError } from './errors.js';
import type { WebSettings } from './settings.js';

/** What a Host header may consist of; a URL's parser alone would take user names and paths as well. */
const HOST = /^(?:[\w.-]+|\[[0-9a-f:.]+\])(?::\d{1,5})?$/i;

/**
 * Under which addresses the board is the board. A page of the internet whose name was pointed at this machine (DNS rebinding) comes with
 * its own name in Host, so names must be those that were configured. Numeric addresses and localhost cannot be pointed elsewhere.
 */
export class OwnAddress {
  readonly isHttps: boolean;
  readonly #origin: string | null;
  readonly #names: ReadonlySet<string>;
  readonly #host: string | null;

  /** Throws a WebStartError when the settings do not say where the board is. */
  constructor({ origin, listen }: Pick<WebSettings, 'origin' | 'listen'>) {
    if (origin === null && listen.kind === 'unix') {
      throw new WebStartError(
        "the board on a unix socket needs the address in people's browsers (board: {origin: https://…}): writes must come from there",
      );
    }
    if (origin !== null && originOf(origin) !== origin) {
      throw new WebStartError(`board.origin ${origin} is no address such as https://board.example.com, without a path`);
    }
    this.#origin = origin;
    this.#host = origin === null ? null : new URL(origin).host;
    this.isHttps = origin?.startsWith('https://') ?? false;
    this.#names = new Set(listen.kind === 'tcp' ? ['localhost', listen.host.toLowerCase()] : ['localhost']);
  }

  isHost(header: string | undefined): boolean {
    const url = parse(header);
    if (url === null) return false;
    if (this.#host !== null && parse(header, this.isHttps ? 'https' : 'http')?.host === this.#host) return true;
    return isNumeric(url.hostname) || this.#names.has(url.hostname);
  }

  /** Is it the origin of the board's own page, which was asked for under this Host? */
  isOrigin(origin: string, host: string | undefined): boolean {
    return origin === (this.#origin ?? parse(host)?.origin);
  }

  /** For people who came to another one. */
  get line(): string {
    return this.#origin === null ? 'this is not an address of the board' : `the board is at ${this.#origin}`;
  }
}

const LOOPBACK = /^(?:127\.\d+\.\d+\.\d+|::1|localhost)$/;

/** Nothing but this machine can reach it. */
export const isLoopback = (listen: WebSettings['listen']): boolean =>
  listen.kind === 'unix' || LOOPBACK.test(listen.host.toLowerCase());

const isNumeric = (hostname: string): boolean => isIP(hostname.replace(/^\[(.*)\]$/, '$1')) !== 0;

function parse(host: string | undefined, scheme = 'http'): URL | null {
  if (host === undefined || !HOST.test(host)) return null;
  const text = `${scheme}://${host}`;
  return URL.canParse(text) ? new URL(text) : null;
}

function originOf(text: string): string | null {
  if (!URL.canParse(text)) return null;
  const url = new URL(text);
  return url.protocol === 'https:' || url.protocol === 'http:' ? url.origin : null;
}
