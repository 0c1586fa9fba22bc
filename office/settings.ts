import type { IClientOptions } from 'mqtt';
import { CredentialsError, readAuthorities, readCredentials, readSecret } from '../adapters/mqtt/credentials.js';
import type { MailChannel, OfficeBoard, OfficeConfig, WebhookChannel } from '../config/office-resolved.js';
import type { SecretPlace } from '../config/resolved.js';
import type { MailSettings, WebhookSettings } from './send/settings.js';
import type { WebSettings } from './web/settings.js';

/** What an office file only names, read from environment and files as they are now. It is kept nowhere else. */
export interface OfficeSettings {
  web: WebSettings;
  credentials: IClientOptions;
  /** Connection URL of the database; null where the store is a file. */
  database: string | null;
  webhooks: WebhookSettings[];
  mail: MailSettings[];
}

/** Below that a secret can be tried out: 16 characters of base64 are 96 bits. */
const SHORTEST_SECRET = 16;

/**
 * `warn` gets a line for each secret that everybody on this computer may read. Throws a CredentialsError: one line that names the
 * key of the office file, the file or variable, and what to do; never what stands in it.
 */
export function readOfficeSettings(config: OfficeConfig, warn: (line: string) => void = () => {}): OfficeSettings {
  return {
    web: webOf(config.board, warn),
    credentials: readCredentials(config.broker, warn),
    database: config.store.kind === 'postgres' ? databaseOf(config.store.url, warn) : null,
    webhooks: config.webhooks.map((channel) => webhookOf(channel, warn)),
    mail: config.mail.map((channel) => mailOf(channel, warn)),
  };
}

function webOf({ listen, origin, forwardedFor, signIn }: OfficeBoard, warn: (line: string) => void): WebSettings {
  if (signIn.kind === 'accounts') return { listen, origin, forwardedFor, signIn };
  const secret = strongSecret('board.signIn.proxy.secret', signIn.secret, warn);
  return { listen, origin, forwardedFor, signIn: { kind: 'proxy', userHeader: signIn.userHeader, secret } };
}

function databaseOf(place: SecretPlace, warn: (line: string) => void): string {
  const url = readSecret('store.postgres', 'connection URL', place, warn);
  if (URL.canParse(url) && /^postgres(?:ql)?:$/.test(new URL(url).protocol)) return url;
  throw new CredentialsError(`store.postgres: what ${placeWords(place)} holds is no postgres://… connection URL`);
}

function webhookOf({ name, url, secret, ca }: WebhookChannel, warn: (line: string) => void): WebhookSettings {
  const key = `webhooks.${name}`;
  return { name, url, secret: strongSecret(`${key}.secret`, secret, warn), ca: authorities(`${key}.ca`, ca) };
}

function mailOf({ name, password, ca, ...rest }: MailChannel, warn: (line: string) => void): MailSettings {
  const key = `mail.${name}`;
  return {
    ...rest,
    name,
    password: password === null ? null : readSecret(`${key}.password`, 'password', password, warn),
    ca: authorities(`${key}.ca`, ca),
  };
}

const authorities = (name: string, path: string | null): string | null =>
  path === null ? null : readAuthorities(name, path);

function strongSecret(name: string, place: SecretPlace, warn: (line: string) => void): string {
  const secret = readSecret(name, 'secret', place, warn);
  if (secret.length >= SHORTEST_SECRET) return secret;
  throw new CredentialsError(
    `${name}: what ${placeWords(place)} holds is shorter than ${SHORTEST_SECRET} characters; make one with: openssl rand -hex 32`,
  );
}

const placeWords = (place: SecretPlace): string => ('file' in place ? place.file : `the variable ${place.env}`);
