import { afterEach, describe, expect, it } from 'vitest';
import type { Notice } from '../../../office/core/model.js';
import { type Sender, startSender } from '../../../office/send/sender.js';
import type { OfficeStore } from '../../../office/store/contract.js';
import { KEY, notice, officeAlert, presence, telling } from '../store/messages.js';
import { openSqlite, pathIn, tempDir } from '../store/stores.js';
import { HookServer } from './support/hook-server.js';
import { SmtpServer } from './support/smtp-server.js';

/* The queue is a real store on disk, the receivers are real servers; the host's clock runs. */

const senders: Sender[] = [];
const servers: { close(): Promise<void> }[] = [];
afterEach(async () => {
  await Promise.all(senders.splice(0).map((sender) => sender.stop()));
  await Promise.all(servers.splice(0).map((server) => server.close()));
});

async function receivers() {
  const hook = await HookServer.start();
  const smtp = await SmtpServer.start();
  servers.push(hook, smtp);
  return { hook, smtp };
}

function start(store: OfficeStore, hook: HookServer, smtp: SmtpServer): Sender {
  const server = { host: '127.0.0.1', port: smtp.port, isTls: false, isLoopback: true };
  const address = { from: 'axlepost@northline.example', to: ['desk@northline.example'] };
  const sender = startSender({
    store,
    webhooks: [{ name: 'desk', url: hook.url(), secret: 'a secret of northline', ca: null }],
    mail: [{ name: 'night', server, user: null, password: null, ca: null, ...address }],
    formOf: () => ({ timeZone: 'UTC', show: { pressure: 'kPa', temperature: '°C' } }),
    board: null,
    log: { warn: () => {} },
  });
  senders.push(sender);
  return sender;
}

const put = (store: OfficeStore, ...notices: Notice[]) =>
  store.receive([{ key: KEY, messages: [presence()] }], telling(...notices));
const about = (id: string, more: Partial<Notice> = {}): Notice =>
  notice(Date.now(), { alert: officeAlert({ id }), ...more });
const told = ({ received }: HookServer): string[] =>
  received.map(({ body }) => {
    const { why, alert } = JSON.parse(body) as { why: string; alert: string };
    return `${why} ${alert}`;
  });

describe('what is to be told', () => {
  it('goes out by all channels, once', async () => {
    const { hook, smtp } = await receivers();
    const store = await openSqlite();
    await put(store, about('a'), about('a', { why: 'ended', ending: 'cleared' }), about('a', { channel: 'night' }));
    const sender = start(store, hook, smtp);
    await hook.came(2);
    await smtp.heard('DATA');
    await sender.stop();
    expect(told(hook)).toEqual(['raised a', 'ended a']);
    expect(smtp.received).toHaveLength(1);
    expect(await store.dueNotices(Date.now() + 86_400_000, 0, 10)).toEqual([]);
    expect(sender.counts).toEqual({
      desk: { sent: 2, failed: 0, givenUp: 0 },
      night: { sent: 1, failed: 0, givenUp: 0 },
    });
  });

  it('is still told after the office was stopped in the middle of it, the end after the beginning', async () => {
    const { hook, smtp } = await receivers();
    const path = pathIn(tempDir());
    const before = await openSqlite(path);
    await put(before, about('a'), about('a', { why: 'ended', ending: 'cleared' }));
    hook.answer = () => {};
    const stopped = start(before, hook, smtp);
    await hook.came(1);
    const startMs = Date.now();
    await stopped.stop();
    expect(Date.now() - startMs).toBeLessThan(10_000);
    await before.close();

    const after = await openSqlite(path);
    hook.answer = (response) => response.writeHead(204).end();
    start(after, hook, smtp);
    await hook.came(3);
    expect(told(hook)).toEqual(['raised a', 'raised a', 'ended a']);
    // The receiver sees that it is the same message.
    const ids = hook.received.map(({ headers }) => headers['axlepost-notice']);
    expect(ids[1]).toBe(ids[0]);
    expect(ids[2]).not.toBe(ids[0]);
  });

  it('goes out once though two offices share the store', async () => {
    const { hook, smtp } = await receivers();
    const store = await openSqlite();
    const ids = Array.from({ length: 60 }, (_, n) => `a${n}`);
    await put(store, ...ids.map((id) => about(id)));
    const both = [start(store, hook, smtp), start(store, hook, smtp)];
    await hook.came(60);
    await Promise.all(both.map((sender) => sender.stop()));
    expect(told(hook).sort()).toEqual(ids.map((id) => `raised ${id}`).sort());
  });

  it('does not wait for a channel that hangs', async () => {
    const { hook, smtp } = await receivers();
    hook.answer = () => {};
    const store = await openSqlite();
    await put(store, ...Array.from({ length: 30 }, (_, n) => about(`a${n}`)), about('b', { channel: 'night' }));
    start(store, hook, smtp);
    await smtp.heard('DATA');
    expect(hook.received.length).toBeLessThanOrEqual(4);
  });
});
