import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, describe, expect, it } from 'vitest';
import type { Notice } from '../../../office/core/model.js';
import { MailChannel, type MailOptions } from '../../../office/send/mail.js';
import { Authority, opensslIsInstalled } from '../../adapters/mqtt/authority.js';
import { notice, officeAlert, T0 } from '../store/messages.js';
import { withoutOpenssl } from './support/openssl.js';
import { python, withoutPython } from './support/python.js';
import { type SmtpOptions, SmtpServer } from './support/smtp-server.js';

const goOn = new AbortController().signal;
const endings: (() => unknown)[] = [];
afterEach(async () => {
  for (const end of endings.splice(0).reverse()) await end();
});

async function server(options: SmtpOptions = {}): Promise<SmtpServer> {
  const smtp = await SmtpServer.start(options);
  endings.push(() => smtp.close());
  return smtp;
}

function mail(smtp: SmtpServer, more: Partial<MailOptions> = {}): MailChannel {
  return new MailChannel({
    name: 'night',
    server: { host: '127.0.0.1', port: smtp.port, isTls: false, isLoopback: true },
    user: null,
    password: null,
    from: 'axlepost@northline.example',
    to: ['desk@northline.example', 'workshop@northline.example'],
    ca: null,
    formOf: () => ({ timeZone: 'America/Chicago', show: { pressure: 'psi', temperature: '°F' } }),
    board: 'https://board.northline.example',
    ...more,
  });
}
const send = (smtp: SmtpServer, more: Partial<MailOptions> = {}, told: Notice = notice()) =>
  mail(smtp, more).send({ id: 1, notice: told }, goOn);

interface Parsed {
  headers: [string, string][];
  text: string;
  parts: number;
}

/** As Python's library for mail reads them, in one go: to start it takes longer than all the rest. */
const parsed = (received: readonly { data: string }[]): Parsed[] =>
  python(
    `
import json, sys
from email import message_from_string, policy
def parsed(data):
    message = message_from_string(data, policy=policy.default)
    return {
      "headers": [[name.lower(), str(value)] for name, value in message.items()],
      "text": message.get_content(),
      "parts": len(list(message.walk())),
    }
print(json.dumps([parsed(data) for data in json.load(sys.stdin)]))
`,
    received.map(({ data }) => data),
  ) as Parsed[];
const header = ({ headers }: Parsed, name: string): string[] =>
  headers.filter(([key]) => key === name).map(([, value]) => value);

describe.skipIf(withoutPython)('a message', () => {
  it('is plain text, to those whom the office file names, and says that nobody need answer', async () => {
    const smtp = await server();
    expect(await send(smtp)).toEqual({ kind: 'sent' });
    const [{ from, to }] = smtp.received as [SmtpServer['received'][0]];
    expect({ from, to }).toEqual({
      from: 'axlepost@northline.example',
      to: ['desk@northline.example', 'workshop@northline.example'],
    });
    const [message] = parsed(smtp.received) as [Parsed];
    expect(message.parts).toBe(1);
    expect(header(message, 'content-type')[0]).toMatch(/^text\/plain; charset="?utf-8/);
    expect(header(message, 'from')).toEqual(['Axlepost <axlepost@northline.example>']);
    expect(header(message, 'to')).toEqual(['desk@northline.example, workshop@northline.example']);
    expect(header(message, 'auto-submitted')).toEqual(['auto-generated']);
    expect(Date.parse(header(message, 'date')[0]!)).toBe(Math.floor(T0 / 1000) * 1000);
    expect(message.text).toContain('https://board.northline.example/#/trucks/northline/T-1042');
  });

  it('is a thread with the others about its alert, each of a name of its own', async () => {
    const smtp = await server();
    const alert = officeAlert({ urgency: 'pull-over' });
    const told: Notice[] = [
      notice(T0, { alert }),
      notice(T0 + 120_000, { alert, why: 'untaken' }),
      notice(T0 + 240_000, { alert, why: 'ended', ending: 'cleared' }),
      notice(T0, { alert: officeAlert({ id: 'axlepost-1.9', urgency: 'next-stop' }) }),
    ];
    for (const [id, each] of told.entries()) await mail(smtp).send({ id, notice: each }, goOn);
    await mail(smtp).send({ id: 0, notice: told[0]! }, goOn);
    const messages = parsed(smtp.received);
    const ids = messages.map((message) => header(message, 'message-id')[0]!);
    for (const id of ids) expect(id).toMatch(/^<[0-9a-f]{32}@northline\.example>$/);
    expect(new Set(ids.slice(0, 4)).size).toBe(4);
    // The same message at another attempt has the same name, so that mail programs show it once.
    expect(ids[4]).toBe(ids[0]);
    const threads = messages.map((message) => header(message, 'references')[0]);
    expect(new Set(threads.slice(0, 3)).size).toBe(1);
    expect(threads[3]).not.toBe(threads[0]);
    expect(header(messages[0]!, 'in-reply-to')[0]).toBe(threads[0]);
    const importance = messages.map((message) => header(message, 'importance')[0]);
    expect(importance.slice(0, 4)).toEqual(['high', 'high', undefined, undefined]);
  });

  // What a truck, or somebody who speaks in its name, could try. The schemas refuse most of it before it comes here.
  const HOSTILE = [
    'axle\r\nBcc: victim@elsewhere.example',
    'axle\nBcc: victim@elsewhere.example\n\nAnother body',
    'axle\r\n\r\n.\r\nMAIL FROM:<x@elsewhere.example>',
    'axle\u0000\u001b[31m\u2028Bcc: victim@elsewhere.example',
    '=?utf-8?Q?axle=0D=0ABcc:_victim@elsewhere.example?=',
    '\u202egpj.elxa\u202c',
    `${'long '.repeat(500)}end`,
    '<script>alert(1)</script>',
  ];
  it('adds no header and no receiver, whatever a truck writes', async () => {
    const smtp = await server();
    for (const text of HOSTILE) {
      const taken = { who: text, at: '2026-11-26T01:00:00.000Z' };
      const measured = { code: 1, text };
      const alert = officeAlert({ place: text, advice: text, basis: text, note: text, taken, measured });
      const before = smtp.commands.length;
      expect(await send(smtp, {}, notice(T0, { alert, trailer: text }))).toEqual({ kind: 'sent' });
      const verbs = smtp.commands.slice(before).map((line) => line.split(' ')[0]);
      expect(verbs, text).toEqual(['EHLO', 'MAIL', 'RCPT', 'RCPT', 'DATA']);
    }
    expect(smtp.received.map(({ to }) => to.length)).toEqual(HOSTILE.map(() => 2));
    for (const [i, message] of parsed(smtp.received).entries()) {
      const names = message.headers.map(([name]) => name);
      expect(new Set(names).size, HOSTILE[i]).toBe(names.length);
      expect(names).not.toContain('bcc');
      expect(message.parts).toBe(1);
      const subject = header(message, 'subject')[0]!;
      expect(subject.length).toBeLessThanOrEqual(200);
      expect(subject).not.toMatch(/[\p{C}\p{Zl}\p{Zp}]/u);
      expect(message.text.replaceAll(/\r?\n/g, '')).not.toMatch(/[\p{Cc}\p{Cf}\p{Zl}\p{Zp}]/u);
      expect(message.text).toContain('Axlepost advises.');
    }
  });
});

describe('what the server answers', () => {
  const answering = async (instead: SmtpOptions['instead'], more: Partial<MailOptions> = {}) => {
    const smtp = await server({ instead });
    return { smtp, outcome: await send(smtp, { timeoutMs: 5000, ...more }) };
  };

  it.each([
    ['550 no such user', { kind: 'never', why: 'SMTP 550' }],
    ['450 later', { kind: 'again', why: 'SMTP 450' }],
  ])('%s to all receivers', async (reply, expected) => {
    const { outcome } = await answering((line) => (line.startsWith('RCPT') ? reply : undefined));
    expect(outcome).toEqual(expected);
  });

  it('no to one of two: the other has it, and it is said', async () => {
    const { smtp, outcome } = await answering((line) => (/^RCPT.*workshop/.test(line) ? '550 who?' : undefined));
    expect(outcome).toEqual({ kind: 'sent', note: '1 of 2 receivers were refused by the server' });
    expect(smtp.received[0]?.to).toEqual(['desk@northline.example']);
  });

  it.each([
    ['554 we think that it is spam: buy at evil.example', { kind: 'never', why: 'SMTP 554' }],
    ['452 no space', { kind: 'again', why: 'SMTP 452' }],
  ])('%s to the message', async (reply, expected) => {
    const { smtp, outcome } = await answering((line) => (line === '.' ? reply : undefined));
    expect(outcome).toEqual(expected);
    expect(smtp.received).toEqual([]);
  });

  it('421 at once', async () => {
    const { outcome } = await answering((line) => (line === '' ? '421 too busy' : undefined));
    expect(outcome.kind).toBe('again');
  });

  it.each(['', 'EHLO', 'DATA', '.'])('nothing to "%s"', async (start) => {
    const isIt = (line: string) => (start === '' ? line === '' : line.startsWith(start));
    const { outcome } = await answering((line) => (isIt(line) ? null : undefined), { timeoutMs: 300 });
    expect(outcome).toEqual({ kind: 'again', why: 'not done within 0.3 s' });
  });

  it('without end', async () => {
    const { outcome } = await answering((line) => (line.startsWith('EHLO') ? `250-${'x'.repeat(200_000)}` : undefined));
    expect(outcome.kind).toBe('again');
    expect(JSON.stringify(outcome)).not.toContain('xxx');
  });

  it('nothing listens', async () => {
    const smtp = await SmtpServer.start();
    const channel = mail(smtp);
    await smtp.close();
    const outcome = await channel.send({ id: 1, notice: notice() }, goOn);
    expect(outcome).toEqual({ kind: 'again', why: 'nothing listens there (ECONNREFUSED)' });
  });

  it('is not waited for when the office stops', async () => {
    const smtp = await server({ instead: (line) => (line.startsWith('MAIL') ? null : undefined) });
    const stop = new AbortController();
    const sending = mail(smtp).send({ id: 1, notice: notice() }, stop.signal);
    await smtp.heard('MAIL');
    stop.abort();
    expect(await sending).toEqual({ kind: 'again', why: 'the office was stopped' });
  });
});

describe('signing in', () => {
  const account = { user: 'axlepost', password: 'pässword "1"' };

  it('with user and password', async () => {
    const smtp = await server({ account });
    expect(await send(smtp, account)).toEqual({ kind: 'sent' });
    expect(smtp.received[0]?.user).toBe('axlepost');
  });

  it('refused: it is tried again, as somebody can mend it; the password is not repeated', async () => {
    const smtp = await server({ account });
    const outcome = await send(smtp, { ...account, password: 'hunter2' });
    expect(outcome).toEqual({ kind: 'again', why: 'it does not take user and password (SMTP 535)' });
    expect(smtp.received).toEqual([]);
  });
});

describe.skipIf(withoutOpenssl)('TLS', () => {
  const folder = mkdtempSync(join(tmpdir(), 'mail-tls-'));
  afterAll(() => rmSync(folder, { recursive: true, force: true }));
  const authority = opensslIsInstalled ? new Authority(folder, 'mail') : null;
  const ca = authority === null ? '' : readFileSync(authority.ca, 'utf8');
  const pair = (alt: string) => {
    const { cert, key } = authority!.sign('mail', alt);
    return { cert: readFileSync(cert, 'utf8'), key: readFileSync(key, 'utf8') };
  };
  const account = { user: 'axlepost', password: 'hunter2' };
  /** As on another machine: there nothing may go in the open. */
  const away = (smtp: SmtpServer, isTls: boolean): Partial<MailOptions> => ({
    ...account,
    server: { host: '127.0.0.1', port: smtp.port, isTls, isLoopback: false },
    timeoutMs: 5000,
  });

  it.each(['at-once', 'asked'] as const)('%s, with whom the authority vouches for', async (when) => {
    const smtp = await server({ account, tls: { ...pair('IP:127.0.0.1'), when } });
    expect(await send(smtp, { ...away(smtp, when === 'at-once'), ca })).toEqual({ kind: 'sent' });
    expect(smtp.received[0]).toMatchObject({ isEncrypted: true, user: 'axlepost' });
    expect(smtp.inTheOpen.map((line) => line.split(' ')[0])).toEqual(when === 'asked' ? ['EHLO', 'STARTTLS'] : []);
  });

  it.each(['at-once', 'asked'] as const)('%s, with a stranger: nothing is said to it', async (when) => {
    process.env.NODE_TLS_REJECT_UNAUTHORIZED = '0';
    endings.push(() => delete process.env.NODE_TLS_REJECT_UNAUTHORIZED);
    const smtp = await server({ account, tls: { ...pair('IP:127.0.0.1'), when } });
    const outcome = await send(smtp, away(smtp, when === 'at-once'));
    expect(outcome).toMatchObject({ kind: 'again', why: expect.stringContaining('certificate') });
    expect(smtp.received).toEqual([]);
    expect(smtp.commands.filter((line) => /^(AUTH|MAIL)/.test(line))).toEqual([]);
  });

  it.each(['at-once', 'asked'] as const)('%s, with somebody of another name', async (when) => {
    const smtp = await server({ account, tls: { ...pair('DNS:other.example'), when } });
    const outcome = await send(smtp, { ...away(smtp, when === 'at-once'), ca });
    expect(outcome).toMatchObject({ kind: 'again', why: expect.stringContaining('certificate') });
    expect(smtp.commands.filter((line) => /^(AUTH|MAIL)/.test(line))).toEqual([]);
  });

  it('not spoken by a server on another machine: it gets neither password nor message', async () => {
    const smtp = await server({ account });
    const outcome = await send(smtp, { ...away(smtp, false), ca });
    expect(outcome.kind).toBe('again');
    expect(smtp.commands.filter((line) => /^(AUTH|MAIL)/.test(line))).toEqual([]);
  });
});
