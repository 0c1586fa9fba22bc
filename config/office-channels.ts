import type { MailChannel, WebhookChannel } from './office-resolved.js';
import type { OfficeFile } from './office-schema.js';
import type { Finding } from './problems.js';
import type { SecretPlace } from './resolved.js';

/** The channels by which the office tells others, checked. No secret, and nothing that could be one, is repeated. */

export const isLoopback = (host: string): boolean =>
  host === 'localhost' || host === '::1' || host === '[::1]' || /^127(?:\.\d{1,3}){3}$/.test(host);

/** Exactly one place; what comes back for none or two is not to be used. */
export function checkSecret(
  { file, env }: { file?: string | undefined; env?: string | undefined },
  path: readonly PropertyKey[],
  what: string,
  example: string,
  found: Finding[],
): SecretPlace {
  if ((file === undefined) === (env === undefined)) {
    const text = `${what} has ${file === undefined ? 'no place' : 'two places'}`;
    found.push({ path, text, hint: `write \`${example}\`, or \`file: PATH\` in place of env` });
  }
  return file === undefined ? { env: env ?? '' } : { file };
}

export function webhooksOf(section: OfficeFile['webhooks'], found: Finding[]): WebhookChannel[] {
  return Object.entries(section ?? {}).map(([name, { url, secret, ca }]) => {
    const path = ['webhooks', name];
    const checked = hookUrl(url, [...path, 'url'], found);
    if (ca !== undefined && checked?.protocol === 'http:') {
      const text = 'ca is of no use with http://';
      found.push({ path: [...path, 'ca'], key: true, text, hint: 'write https:// in the url' });
    }
    return {
      name,
      url: checked?.href ?? '',
      secret: checkSecret(secret, [...path, 'secret'], 'the secret', 'secret: {env: DESK_HOOK}', found),
      ca: ca ?? null,
    };
  });
}

function hookUrl(written: string, path: readonly PropertyKey[], found: Finding[]): URL | null {
  if (written.includes('@')) {
    const text = 'a user or a password does not belong into the address';
    found.push({ path, text, hint: 'leave it out: the receiver knows us by the signature, see `secret`' });
    return null;
  }
  const url = URL.canParse(written) ? new URL(written) : null;
  if (url === null || !/^https?:$/.test(url.protocol)) {
    const hint = 'write for example `https://hooks.example/axlepost`';
    found.push({ path, text: 'this is not the address of a receiver', hint });
    return null;
  }
  // What stands there is often a token, which would be in every copy of this file.
  if (url.search !== '' || url.hash !== '') {
    found.push({ path, text: 'the address ends at its path', hint: 'leave out what begins with "?" or "#"' });
    return null;
  }
  if (url.protocol === 'http:' && !isLoopback(url.hostname)) {
    const text = `http://${url.host} is not encrypted: whoever is on the way can read what is sent`;
    found.push({ path, text, hint: 'write https://; plain http is for receivers on this computer' });
  }
  return url;
}

const PORTS: Record<string, number> = { 'smtps:': 465, 'smtp:': 587 };

export function mailOf(section: OfficeFile['mail'], found: Finding[]): MailChannel[] {
  return Object.entries(section ?? {}).map(([name, { server, user, password, from, to, ca }]) => {
    const path = ['mail', name];
    return {
      name,
      server: serverOf(server, [...path, 'server'], found),
      user: user ?? null,
      password: passwordOf(user, password, path, found),
      from,
      to: [...new Set(to)],
      ca: ca ?? null,
    };
  });
}

function passwordOf(
  user: string | undefined,
  password: { file?: string | undefined; env?: string | undefined } | undefined,
  path: readonly PropertyKey[],
  found: Finding[],
): SecretPlace | null {
  if ((user === undefined) !== (password === undefined)) {
    const [has, wants] = user === undefined ? ['password', 'user: NAME'] : ['user', 'password: {env: MAIL_PASSWORD}'];
    const text = `${has} is of no use without ${wants.split(':')[0]}`;
    found.push({ path: [...path, has], key: true, text, hint: `add \`${wants}\`, or leave out ${has}` });
  }
  if (password === undefined) return null;
  return checkSecret(password, [...path, 'password'], 'the password', 'password: {env: MAIL_PASSWORD}', found);
}

function serverOf(written: string, path: readonly PropertyKey[], found: Finding[]): MailChannel['server'] {
  const url = URL.canParse(written) ? new URL(written) : null;
  const port = url === null ? undefined : PORTS[url.protocol];
  const nothing = { host: '', port: 0, isTls: true, isLoopback: false };
  if (written.includes('@')) {
    const text = 'a user or a password does not belong into the address';
    found.push({ path, text, hint: 'write `user: NAME` and `password: {env: MAIL_PASSWORD}`' });
    return nothing;
  }
  const isBare = url !== null && /^\/?$/.test(url.pathname) && url.search === '' && url.hash === '';
  if (url === null || port === undefined || url.hostname === '' || !isBare) {
    const hint = 'write for example `smtps://mail.example:465`, or smtp:// where the server changes over to TLS';
    found.push({ path, text: 'this is not the address of a mail server', hint });
    return nothing;
  }
  const host = url.hostname.replace(/^\[|\]$/g, '');
  return {
    host,
    port: url.port === '' ? port : Number(url.port),
    isTls: url.protocol === 'smtps:',
    isLoopback: isLoopback(host),
  };
}
