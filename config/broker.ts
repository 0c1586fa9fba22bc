import type { Finding } from './problems.js';
import type { BrokerConfig } from './resolved.js';
import { EXAMPLES, type TruckFile } from './schema.js';

type Mqtt = NonNullable<TruckFile['mqtt']>;

const SCHEMES = /^(?:mqtts?|wss?):$/;
const TLS = /^(?:mqtts|wss):$/;
/** Files that only TLS has a use for. */
const TLS_FILES = ['ca', 'cert', 'key'] as const;

/** How to give a secret. A truck file is copied, recorded, packed and printed: a secret in it would be everywhere. */
export const SECRET_HINT = 'write `user: NAME` and `password: {env: AXLEPOST_PASSWORD}` or `password: {file: PATH}`';

/** The broker section, checked. What is wrong goes to `findings`, in words that never repeat what may be a secret. */
export function brokerOf(mqtt: Mqtt | undefined, findings: Finding[], notes: Finding[]): BrokerConfig | null {
  if (mqtt === undefined) return null;
  const url = checkUrl(mqtt.url, findings);
  checkFiles(mqtt, url, findings);
  const password = passwordOf(mqtt, findings);
  if (url !== null) checkPlain(url, mqtt, password !== null, findings, notes);
  return {
    url: mqtt.url,
    unencrypted: mqtt.unencrypted ?? false,
    // Only the office knows what has reached it: a broker's word does not prove that anybody has read it.
    confirm: mqtt.confirm ?? 'office',
    user: mqtt.user ?? null,
    password,
    ca: mqtt.ca ?? null,
    cert: mqtt.cert ?? null,
    key: mqtt.key ?? null,
  };
}

/** null when it is not to be used. */
function checkUrl(written: string, findings: Finding[]): URL | null {
  const path = ['mqtt', 'url'];
  if (written.includes('@')) {
    findings.push({ path, text: 'a user or a password does not belong into the address', hint: SECRET_HINT });
    return null;
  }
  const url = URL.canParse(written) ? new URL(written) : null;
  if (url === null || !SCHEMES.test(url.protocol) || url.hostname === '') {
    const hint = `write for example \`${EXAMPLES.url}\` (mqtt, mqtts, ws or wss)`;
    findings.push({ path, text: 'this is not the address of a broker', hint });
    return null;
  }
  // It would not be sent; and what stands there is often a token.
  if (url.search !== '' || url.hash !== '') {
    findings.push({ path, text: 'the address ends at its path', hint: 'leave out what begins with "?" or "#"' });
    return null;
  }
  return url;
}

function checkFiles(mqtt: Mqtt, url: URL | null, findings: Finding[]): void {
  for (const [one, other] of [
    ['cert', 'key'],
    ['key', 'cert'],
  ] as const) {
    if (mqtt[one] === undefined || mqtt[other] !== undefined) continue;
    const hint = `add \`${other}: PATH\`, or leave out ${one}`;
    findings.push({ path: ['mqtt', one], key: true, text: `${one} is of no use without ${other}`, hint });
  }
  if (url === null || TLS.test(url.protocol)) return;
  for (const name of TLS_FILES) {
    if (mqtt[name] === undefined) continue;
    const text = `${name} is of no use with ${url.protocol}//`;
    findings.push({ path: ['mqtt', name], key: true, text, hint: 'write mqtts:// (or wss://) in the url' });
  }
}

/** Plain only on this machine, or where somebody has said so in so many words. */
function checkPlain(url: URL, mqtt: Mqtt, hasPassword: boolean, findings: Finding[], notes: Finding[]): void {
  const path = ['mqtt', 'url'];
  if (TLS.test(url.protocol) || isLoopback(url.hostname)) return;
  if (mqtt.unencrypted !== true) {
    const text = `${url.protocol}//${url.hostname} is not encrypted: whoever is on the way can read and forge what is sent`;
    findings.push({ path, text, hint: 'write mqtts:// or wss://, or add `unencrypted: yes` if that is meant' });
  } else if (hasPassword) {
    const text = `the password goes to ${url.hostname} unencrypted`;
    notes.push({ path, text, hint: 'write mqtts://, or wss://, where the broker can' });
  }
}

function passwordOf({ user, password }: Mqtt, findings: Finding[]): BrokerConfig['password'] {
  if (password === undefined) return null;
  const path = ['mqtt', 'password'];
  const { file, env } = password;
  if ((file === undefined) === (env === undefined)) {
    const text = file === undefined ? 'the password has no place' : 'the password has two places';
    findings.push({ path, text, hint: 'write `password: {env: AXLEPOST_PASSWORD}` or `password: {file: PATH}`' });
    return null;
  }
  // MQTT 3.1.1 [MQTT-3.1.2-22]: no password without a user name.
  if (user === undefined) {
    findings.push({ path, key: true, text: 'a password needs a user', hint: 'add `user: NAME`' });
  }
  return file !== undefined ? { file } : { env: env! };
}

const isLoopback = (host: string): boolean =>
  host === 'localhost' || host === '[::1]' || /^127(?:\.\d{1,3}){3}$/.test(host);
