import { z } from 'zod';
import { officeJson } from './office-json.js';
import {
  DAYS,
  durationOrNever,
  either,
  headerName,
  listen,
  mailAddress,
  timeOfDay,
  timeZone,
} from './office-scalars.js';
import { URGENCIES } from './resolved.js';
import { map, name, quantity, variable, word, words, yesNo } from './scalars.js';

/**
 * The office file: what `axlepost office` serves, where it keeps it, who may look, and what leaves it. Input: a tree whose scalars
 * are all text (source.ts). Output: values in s and minutes, not yet checked against each other (office.ts does that).
 */

const path = () => words(256);
/** Where a secret is; which of the two is checked by office-checks.ts, in words that do not repeat it. */
const secret = () => map({ file: path(), env: variable() }).partial();

const DAY_S = 86_400;

const accounts = word(['accounts']);
const proxy = map({ proxy: map({ userHeader: headerName(), secret: secret() }) });

const fleet = map({
  untaken: map({
    plan: durationOrNever(10, 30 * DAY_S),
    'next-stop': durationOrNever(10, 30 * DAY_S),
    'pull-over': durationOrNever(10, 30 * DAY_S),
  })
    .partial()
    .optional(),
  position: word(['exact', 'rounded', 'none']).optional(),
  show: map({ pressure: word(['kPa', 'psi', 'bar']), temperature: word(['°C', '°F'], { C: '°C', F: '°F' }) })
    .partial()
    .optional(),
  timeZone: timeZone().optional(),
  expected: z
    .array(
      map({
        trucks: z.array(name()).min(1).max(5000),
        days: z.array(word(DAYS)).min(1).max(7),
        by: timeOfDay(),
      }),
    )
    .max(200)
    .optional(),
  send: z.record(z.string(), z.array(word(URGENCIES)).min(1).max(URGENCIES.length)).optional(),
});

/** Section by section, so that a mistake in one does not hide those of another. */
export const OFFICE_SECTIONS = {
  mqtt: map({
    url: words(256).optional(),
    unencrypted: yesNo().optional(),
    user: words(128).optional(),
    password: secret().optional(),
    ca: path().optional(),
    cert: path().optional(),
    key: path().optional(),
    shared: name().optional(),
  }).optional(),
  store: map({
    path: path().optional(),
    postgres: secret().optional(),
    keep: quantity('duration', DAY_S, 3650 * DAY_S).optional(),
  }).optional(),
  board: map({
    listen: listen().optional(),
    unencrypted: yesNo().optional(),
    origin: words(256).optional(),
    forwardedFor: yesNo().optional(),
    signIn: either(accounts, proxy, () => ({ anyOf: [officeJson(accounts), officeJson(proxy)] })).optional(),
  }).optional(),
  fleets: z.record(z.string(), fleet).optional(),
  webhooks: z.record(z.string(), map({ url: words(1024), secret: secret(), ca: path().optional() })).optional(),
  mail: z
    .record(
      z.string(),
      map({
        server: words(256),
        user: words(128).optional(),
        password: secret().optional(),
        from: mailAddress(),
        to: z.array(mailAddress()).min(1).max(50),
        ca: path().optional(),
      }),
    )
    .optional(),
} as const;

export type OfficeSection = keyof typeof OFFICE_SECTIONS;
/** Sections that hold; undefined ones were left out, or had findings. */
export type OfficeFile = { [K in OfficeSection]?: z.output<(typeof OFFICE_SECTIONS)[K]> };
export type FleetSection = z.output<typeof fleet>;

/** What a missing entry could look like, by its last key. */
export const OFFICE_EXAMPLES: Record<string, string> = {
  mqtt: 'mqtt: {url: "mqtts://broker.example:8883"}',
  url: 'url: "https://hooks.example/axlepost"',
  password: 'password: {file: /etc/axlepost/secrets/office-password}',
  secret: 'secret: {file: /etc/axlepost/secrets/desk-hook}',
  postgres: 'postgres: {env: AXLEPOST_OFFICE_DATABASE}',
  store: 'store: {path: office.db}',
  board: 'board: {listen: "127.0.0.1:8430"}',
  signIn: 'signIn: accounts',
  proxy: 'proxy: {userHeader: x-user, secret: {file: /etc/axlepost/secrets/proxy}}',
  userHeader: 'userHeader: x-user',
  fleets: 'fleets: {northline: {}}',
  untaken: 'untaken: {pull-over: 2 min}',
  expected: 'expected: [{trucks: [T-1042], days: [mon], by: "08:00"}]',
  trucks: 'trucks: [T-1042]',
  days: 'days: [mon, tue, wed, thu, fri]',
  by: 'by: "08:00"',
  send: 'send: {desk-hook: [pull-over]}',
  webhooks: 'webhooks: {desk-hook: {url: "https://hooks.example/axlepost", secret: {env: DESK_HOOK}}}',
  mail: 'mail: {night-mail: {server: "smtps://mail.example", from: axlepost@northline.example, to: [dispatch@northline.example]}}',
  server: 'server: "smtps://mail.example:465"',
  from: 'from: axlepost@northline.example',
  to: 'to: [dispatch@northline.example]',
};
