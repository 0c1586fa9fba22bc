import { connect, isIP, type Socket } from 'node:net';
import { createTransport } from 'nodemailer';
import type { Notice } from '../core/model.js';
import { type Channel, errorWords, type Outcome } from './channel.js';
import { noticeId, threadId } from './notice-id.js';
import type { MailSettings } from './settings.js';
import { clean, type FleetForm, linesOf, subjectOf } from './text.js';

/** For all of it: looking up the name, TLS, signing in, the message. */
const TIMEOUT_MS = 20_000;
/** A server that says more than this at once is none. */
const MAX_ANSWER_BYTES = 65_536;
const MAX_SUBJECT = 200;

export interface MailOptions extends MailSettings {
  formOf: (fleet: string) => FleetForm;
  /** Address of the board, for a link to the truck; null: not known. */
  board: string | null;
  timeoutMs?: number;
}

/** Sends each notice as a message of plain text; those about one alert are a thread. */
export class MailChannel implements Channel {
  readonly name: string;
  readonly #options: MailOptions;

  constructor(options: MailOptions) {
    this.name = options.name;
    this.#options = options;
  }

  async send(queued: Parameters<Channel['send']>[0], signal: AbortSignal): Promise<Outcome> {
    const { timeoutMs = TIMEOUT_MS, server } = this.#options;
    // The connection is ours, so that it can be ended whatever the library waits for.
    const socket = connect(server.port, server.host);
    // The library lets go of it before its last word.
    socket.on('error', () => {});
    let isLate = false;
    const end = (): void => void socket.destroy();
    const timer = setTimeout(() => {
      isLate = true;
      end();
    }, timeoutMs);
    signal.addEventListener('abort', end);
    try {
      signal.throwIfAborted();
      await connected(socket);
      return await this.#deliver(queued, socket);
    } catch (error) {
      if (signal.aborted) return { kind: 'again', why: 'the office was stopped' };
      return isLate ? { kind: 'again', why: `not done within ${timeoutMs / 1000} s` } : outcomeOf(error);
    } finally {
      clearTimeout(timer);
      signal.removeEventListener('abort', end);
      end();
    }
  }

  async #deliver(queued: Parameters<Channel['send']>[0], socket: Socket): Promise<Outcome> {
    const { server, user, password, ca, from, to, formOf, board } = this.#options;
    const { notice } = queued;
    const domain = from.slice(from.lastIndexOf('@') + 1);
    const thread = `<${threadId(queued)}@${domain}>`;
    const transport = createTransport({
      host: server.host,
      port: server.port,
      secure: server.isTls,
      // In the open only to this computer; elsewhere no password and no message before TLS.
      requireTLS: !server.isTls && !server.isLoopback,
      ignoreTLS: server.isLoopback && !server.isTls && ca === null,
      // Said outright: an environment variable could otherwise switch the check off.
      tls: { rejectUnauthorized: true, minVersion: 'TLSv1.2', ...(ca === null ? {} : { ca }) },
      ...(isIP(server.host) === 0 ? { servername: server.host } : {}),
      ...(user !== null && password !== null ? { auth: { user, pass: password } } : {}),
      name: domain,
      maxResponseSize: MAX_ANSWER_BYTES,
      socketCloseTimeout: 0,
      disableFileAccess: true,
      disableUrlAccess: true,
      getSocket: (_options, callback) => callback(null, { connection: socket }),
    });
    const { rejected } = await transport.sendMail({
      from: { name: 'Axlepost', address: from },
      to: to.map((address) => ({ name: '', address })),
      subject: clean(subjectOf(notice), MAX_SUBJECT),
      text: textOf(notice, formOf(notice.fleet), board),
      date: new Date(notice.ms),
      messageId: `<${noticeId(queued)}@${domain}>`,
      inReplyTo: thread,
      references: [thread],
      headers: {
        // RFC 3834: nobody is to answer with a note of absence. RFC 2156: how it is to be looked at.
        'auto-submitted': 'auto-generated',
        ...(notice.alert.urgency === 'pull-over' && notice.why !== 'ended' ? { importance: 'high' } : {}),
      },
    });
    return rejected.length === 0
      ? { kind: 'sent' }
      : { kind: 'sent', note: `${rejected.length} of ${to.length} receivers were refused by the server` };
  }
}

const textOf = (notice: Notice, form: FleetForm, board: string | null): string =>
  `${linesOf(notice, form, board).join('\n')}\n`;

const connected = (socket: Socket): Promise<void> =>
  new Promise((resolve, reject) => {
    socket.once('connect', resolve);
    socket.once('error', reject);
    socket.once('close', () => reject(Object.assign(new Error('closed'), { code: 'ECONNRESET' })));
  });

/** RFC 5321: 5xx is for ever. But who cannot sign in is let in once somebody has mended it. */
function outcomeOf(error: unknown): Outcome {
  const { responseCode, code } = error as { responseCode?: unknown; code?: unknown };
  if (typeof responseCode !== 'number') return { kind: 'again', why: errorWords(error) };
  const why = code === 'EAUTH' ? `it does not take user and password (SMTP ${responseCode})` : `SMTP ${responseCode}`;
  const isFinal = responseCode >= 500 && (code === 'EENVELOPE' || code === 'EMESSAGE');
  return { kind: isFinal ? 'never' : 'again', why };
}
