import { type ClientRequest, request as plainRequest, type RequestOptions } from 'node:http';
import { request as tlsRequest } from 'node:https';
import { packageVersion } from '../../config/package.js';
import type { WallMs } from '../../daemon/time.js';
import { type Channel, errorWords, type Outcome } from './channel.js';
import { HOOK_HEADERS, hookMessage, proofOf } from './hook-message.js';
import type { WebhookSettings } from './settings.js';

/** For all of it: looking up the name, TLS, sending, the answer's first line. */
const TIMEOUT_MS = 10_000;
/** Of the answer; nothing in it is of use, and who sends more is cut off. */
const MAX_ANSWER_BYTES = 16_384;
/** HTTP: timeout, too early, too many requests. Any other 4xx says that it will never be taken. */
const LATER = new Set([408, 425, 429]);
const MAX_WAIT_MS = 3_600_000;

export interface WebhookOptions extends WebhookSettings {
  nowMs: () => WallMs;
  timeoutMs?: number;
}

/** POSTs each notice, signed. Only ever to the address of the office file: redirects are not followed. */
export class Webhook implements Channel {
  readonly name: string;
  readonly #options: WebhookOptions;
  readonly #url: URL;

  constructor(options: WebhookOptions) {
    this.name = options.name;
    this.#options = options;
    this.#url = new URL(options.url);
  }

  send(queued: Parameters<Channel['send']>[0], signal: AbortSignal): Promise<Outcome> {
    const { timeoutMs = TIMEOUT_MS } = this.#options;
    const message = hookMessage(queued);
    const body = JSON.stringify(message);
    const request = this.#request(message.id, body);
    return new Promise((resolve) => {
      // Counts when the time is over: who is slow with the rest of an answer has answered all the same.
      let outcome: Outcome = { kind: 'again', why: `no answer within ${timeoutMs / 1000} s` };
      const end = (): void => {
        clearTimeout(timer);
        signal.removeEventListener('abort', stopped);
        resolve(outcome);
        request.destroy();
      };
      const failed = (why: string): void => {
        if (!isAnswered) outcome = { kind: 'again', why };
        end();
      };
      const stopped = (): void => failed('the office was stopped');
      const timer = setTimeout(end, timeoutMs);
      let isAnswered = false;
      request.on('error', (error) => failed(errorWords(error)));
      request.on('close', () => failed('it has broken the connection'));
      request.on('response', (response) => {
        isAnswered = true;
        outcome = outcomeOf(response.statusCode ?? 0, response.headers['retry-after']);
        let bytes = 0;
        response.on('data', (chunk: Buffer) => {
          bytes += chunk.length;
          if (bytes > MAX_ANSWER_BYTES) end();
        });
        response.on('error', end);
        response.on('end', end);
      });
      if (signal.aborted) stopped();
      else signal.addEventListener('abort', stopped);
      request.end(body);
    });
  }

  #request(id: string, body: string): ClientRequest {
    const { secret, ca, nowMs } = this.#options;
    const sent = new Date(nowMs()).toISOString();
    const options: RequestOptions = {
      method: 'POST',
      // A connection of its own: none is kept that somebody might have taken over or closed meanwhile.
      agent: false,
      headers: {
        'content-type': 'application/json; charset=utf-8',
        'content-length': Buffer.byteLength(body),
        'user-agent': `axlepost/${packageVersion()}`,
        [HOOK_HEADERS.id]: id,
        [HOOK_HEADERS.sent]: sent,
        [HOOK_HEADERS.proof]: proofOf(secret, sent, body),
      },
    };
    if (this.#url.protocol === 'http:') return plainRequest(this.#url, options);
    // Said outright: an environment variable could otherwise switch the check off.
    const tls = { rejectUnauthorized: true, minVersion: 'TLSv1.2', ...(ca === null ? {} : { ca }) } as const;
    return tlsRequest(this.#url, { ...options, ...tls });
  }
}

function outcomeOf(status: number, retryAfter: string | undefined): Outcome {
  const why = `HTTP ${status}`;
  if (status >= 200 && status < 300) return { kind: 'sent' };
  if (status >= 300 && status < 400)
    return { kind: 'again', why: `${why}: it sends us elsewhere, which is not followed` };
  if (status >= 400 && status < 500 && !LATER.has(status)) return { kind: 'never', why };
  const seconds = /^\d{1,6}$/.test(retryAfter ?? '') ? Number(retryAfter) : 0;
  return { kind: 'again', why, notBeforeMs: Math.min(1000 * seconds, MAX_WAIT_MS) };
}
