import { brokerOf } from './broker.js';
import { checkSecret, isLoopback, mailOf, webhooksOf } from './office-channels.js';
import type { OfficeBoard, OfficeConfig, OfficeFleet } from './office-resolved.js';
import { DAYS, isName } from './office-scalars.js';
import type { FleetSection, OfficeFile } from './office-schema.js';
import { type Finding, suggest } from './problems.js';
import type { BrokerConfig, Urgency } from './resolved.js';

const DEFAULT_URL = 'mqtt://127.0.0.1:1883';
const DEFAULT_LISTEN = { kind: 'tcp', host: '127.0.0.1', port: 8430 } as const;
const DEFAULT_PATH = 'office.db';
const DEFAULT_KEEP_S = 90 * 86_400;
/** Somebody else must see a pull-over soon; a next-stop within the time in which it is reached; a plan waits for the workshop. */
const UNTAKEN_S: Record<Urgency, number | null> = { 'pull-over': 120, 'next-stop': 900, plan: null };

/**
 * Everything together. What is wrong goes to `found`: then the result is not to be used. In words that never repeat what may be a
 * secret.
 */
export function resolveOffice(file: OfficeFile, found: Finding[], notes: Finding[]): OfficeConfig {
  const store = storeOf(file.store, found);
  const webhooks = webhooksOf(file.webhooks, found);
  const mail = mailOf(file.mail, found);
  // What was written counts as a channel, whether it is in order or not: its own problem is enough.
  const channels = [...Object.keys(file.webhooks ?? {}), ...Object.keys(file.mail ?? {})];
  checkChannels(file, found);
  const fleets: Record<string, OfficeFleet> = {};
  for (const [name, section] of Object.entries(file.fleets ?? {})) {
    checkName(['fleets', name], 'a fleet', found);
    fleets[name] = fleetOf(name, section, channels, found, notes);
  }
  noteUnused(channels, file, notes);
  return {
    broker: officeBroker(file.mqtt, found, notes),
    shared: sharedOf(file, store.kind === 'postgres', found),
    store,
    board: boardOf(file.board, found),
    fleets,
    otherFleets: fleetOf('', {}, [], [], []),
    webhooks,
    mail,
  };
}

function officeBroker(mqtt: OfficeFile['mqtt'], found: Finding[], notes: Finding[]): BrokerConfig {
  const { shared: _, url = DEFAULT_URL, ...rest } = mqtt ?? {};
  return brokerOf({ url, confirm: 'office', ...rest }, found, notes)!;
}

/** Without a store that they share, each of the instances would know a part of every truck. */
function sharedOf({ mqtt }: OfficeFile, isPostgres: boolean, found: Finding[]): string | null {
  if (mqtt?.shared === undefined) return null;
  if (!isPostgres) {
    const text = 'shared is for several instances, and those need one store that they all have';
    const hint = 'add `store: {postgres: {env: AXLEPOST_OFFICE_DATABASE}}`, or leave out shared';
    found.push({ path: ['mqtt', 'shared'], key: true, text, hint });
  }
  return mqtt.shared;
}

function storeOf(store: OfficeFile['store'], found: Finding[]): OfficeConfig['store'] {
  const keepMs = 1000 * (store?.keep ?? DEFAULT_KEEP_S);
  if (store?.postgres === undefined) return { kind: 'sqlite', path: store?.path ?? DEFAULT_PATH, keepMs };
  if (store.path !== undefined) {
    const text = 'the store has two places';
    found.push({ path: ['store', 'path'], key: true, text, hint: 'keep path or postgres' });
  }
  const example = 'postgres: {env: AXLEPOST_OFFICE_DATABASE}';
  const url = checkSecret(store.postgres, ['store', 'postgres'], 'the address of the database', example, found);
  return { kind: 'postgres', url, keepMs };
}

function boardOf(board: OfficeFile['board'], found: Finding[]): OfficeBoard {
  const listen = board?.listen ?? DEFAULT_LISTEN;
  const isLocal = listen.kind === 'unix' || isLoopback(listen.host);
  const isOpen = board?.unencrypted === true;
  const origin = board?.origin === undefined ? null : originOf(board.origin, isOpen, found);
  const needsOrigin = listen.kind === 'unix' || !isLoopback(listen.host);
  if (board?.origin === undefined && needsOrigin) {
    const text = 'nothing says how people reach the board, and writes are taken from there only';
    found.push({ path: ['board', 'listen'], text, hint: 'add for example `origin: https://board.northline.example`' });
  }
  if (!isLocal && !isOpen) {
    const text = `at ${listen.host} the board is seen from the network, and passwords come to it unencrypted`;
    const hint =
      'listen at 127.0.0.1 or a socket behind a proxy that speaks https, or add `unencrypted: yes` if that is meant';
    found.push({ path: ['board', 'listen'], text, hint });
  }
  const forwardedFor = board?.forwardedFor === true;
  if (forwardedFor && !isLocal) {
    const text =
      'a proxy that says whose address it is must be on this computer: from the network anybody could say so';
    found.push({ path: ['board', 'forwardedFor'], key: true, text, hint: 'listen at 127.0.0.1 or at a socket' });
  }
  return { listen, origin, forwardedFor, signIn: signInOf(board?.signIn, isLocal, found) };
}

function signInOf(
  signIn: NonNullable<OfficeFile['board']>['signIn'],
  isLocal: boolean,
  found: Finding[],
): OfficeBoard['signIn'] {
  if (signIn === undefined || signIn === 'accounts') return { kind: 'accounts' };
  const path = ['board', 'signIn', 'proxy'];
  if (!isLocal) {
    const text = 'a proxy that says who it is must be on this computer: from the network anybody could say so';
    found.push({ path, key: true, text, hint: 'listen at 127.0.0.1 or at a socket' });
  }
  const { userHeader, secret } = signIn.proxy;
  const place = checkSecret(secret, [...path, 'secret'], 'the secret', 'secret: {env: BOARD_PROXY}', found);
  return { kind: 'proxy', userHeader, secret: place };
}

/** As a browser writes it into its Origin header. */
function originOf(written: string, isOpen: boolean, found: Finding[]): string {
  const path = ['board', 'origin'];
  const url = URL.canParse(written) ? new URL(written) : null;
  const isBare = url !== null && url.pathname === '/' && !/[@?#]/.test(written);
  if (url === null || !isBare || !/^https?:$/.test(url.protocol)) {
    const text = 'this is not an origin: scheme and host, no user and no path';
    found.push({ path, text, hint: 'write for example https://board.northline.example' });
    return '';
  }
  if (url.protocol === 'http:' && !isLoopback(url.hostname) && !isOpen) {
    const text = `${url.origin} is not encrypted: whoever is on the way can read passwords and act in another's name`;
    found.push({ path, text, hint: 'write https://, or add `unencrypted: yes` if that is meant' });
  }
  return url.origin;
}

function fleetOf(
  name: string,
  section: FleetSection,
  channels: readonly string[],
  found: Finding[],
  notes: Finding[],
): OfficeFleet {
  const after = (urgency: Urgency): number | null => {
    const seconds = section.untaken?.[urgency];
    const inForce = seconds === undefined ? UNTAKEN_S[urgency] : seconds;
    return inForce === null ? null : 1000 * inForce;
  };
  for (const channel of Object.keys(section.send ?? {})) {
    if (channels.includes(channel)) continue;
    const path = ['fleets', name, 'send', channel];
    const hint = channels.length === 0 ? 'add it under webhooks or mail' : suggest(channel, channels, 'there are');
    found.push({ path, key: true, text: `there is no channel "${channel}"`, hint });
  }
  if (section.expected !== undefined && section.timeZone === undefined) {
    const text = 'the times of day are taken in UTC, as the fleet has no time zone';
    notes.push({
      path: ['fleets', name, 'expected'],
      key: true,
      text,
      hint: 'add for example `timeZone: America/Chicago`',
    });
  }
  const expected = (section.expected ?? []).flatMap(({ trucks, days, by }) =>
    trucks.map((truck) => ({ truck, days: days.map((day) => DAYS.indexOf(day)), byMinute: by })),
  );
  return {
    untakenMs: { plan: after('plan'), 'next-stop': after('next-stop'), 'pull-over': after('pull-over') },
    channels: Object.entries(section.send ?? {}).map(([channel, urgencies]) => ({ name: channel, urgencies })),
    expected,
    timeZone: section.timeZone ?? 'UTC',
    position: section.position ?? 'exact',
    show: { pressure: section.show?.pressure ?? 'kPa', temperature: section.show?.temperature ?? '°C' },
  };
}

function checkChannels(file: OfficeFile, found: Finding[]): void {
  for (const section of ['webhooks', 'mail'] as const) {
    for (const name of Object.keys(file[section] ?? {})) checkName([section, name], 'a channel', found);
  }
  for (const name of Object.keys(file.mail ?? {})) {
    if (!Object.hasOwn(file.webhooks ?? {}, name)) continue;
    const text = `"${name}" is the name of a webhook too`;
    found.push({ path: ['mail', name], key: true, text, hint: 'give one of the two another name' });
  }
}

function checkName(path: string[], what: string, found: Finding[]): void {
  const name = path.at(-1)!;
  if (isName(name)) return;
  const hint = 'letters A to Z, digits, "_" and "-", 1 to 32 of them';
  found.push({ path, key: true, text: `"${name}" is not a name of ${what}`, hint });
}

function noteUnused(channels: readonly string[], file: OfficeFile, notes: Finding[]): void {
  const used = new Set(Object.values(file.fleets ?? {}).flatMap((fleet) => Object.keys(fleet.send ?? {})));
  for (const name of new Set(channels)) {
    if (used.has(name)) continue;
    const section = Object.hasOwn(file.webhooks ?? {}, name) ? 'webhooks' : 'mail';
    const hint = `add for example \`send: {${name}: [pull-over]}\` to a fleet`;
    notes.push({ path: [section, name], key: true, text: `no fleet sends anything to ${name}`, hint });
  }
}
