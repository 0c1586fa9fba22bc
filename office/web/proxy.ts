import { createHmac } from 'node:crypto';
import type { FastifyRequest } from 'fastify';
import type { WallMs } from '../../daemon/time.js';
import type { Caller, SignIn } from './caller.js';
import { isPrintableName } from './name-rules.js';
import { isSameSecret } from './secret.js';

/** Carries the secret that the office and the reverse proxy share. */
export const PROXY_HEADER = 'x-axlepost-proxy';

export interface ProxyOptions {
  userHeader: string;
  secret: string;
  nowMs: () => WallMs;
  /** A stream that is older must ask the proxy again. */
  aliveMs: number;
}

/** A reverse proxy says who it is. Without the secret, which only the proxy has, nobody is believed. */
export class ProxySignIn implements SignIn {
  readonly kind = 'proxy';
  readonly #options: ProxyOptions;

  constructor(options: ProxyOptions) {
    this.#options = { ...options, userHeader: options.userHeader.toLowerCase() };
  }

  caller(request: FastifyRequest): Promise<Caller | null> {
    return Promise.resolve(this.callerOf(request));
  }

  callerOf({ raw: { headersDistinct } }: FastifyRequest): Caller | null {
    const { userHeader, secret, nowMs, aliveMs } = this.#options;
    const given = headersDistinct[PROXY_HEADER] ?? [];
    const users = headersDistinct[userHeader] ?? [];
    // A second header beside the proxy's own came from the browser.
    if (given.length !== 1 || users.length !== 1 || !isSameSecret(given[0]!, secret)) return null;
    const name = decode(users[0]!);
    if (name === null || !isPrintableName(name)) return null;
    // The same in every instance of the office, and unknown to whoever has not asked with the proxy's help.
    const token = createHmac('sha256', secret).update(`token for ${name}`).digest('base64url');
    return { name, token, key: `proxy:${name}`, untilMs: nowMs() + aliveMs };
  }

  isAlive({ untilMs }: Caller): Promise<boolean> {
    return Promise.resolve(this.#options.nowMs() < untilMs);
  }
}

/** Node gives a header's bytes as Latin-1; names are sent in UTF-8. */
function decode(header: string): string | null {
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(Buffer.from(header, 'latin1')).normalize('NFC');
  } catch {
    return null;
  }
}
