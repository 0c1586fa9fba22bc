import { X509Certificate } from 'node:crypto';
import { statSync } from 'node:fs';
import { createSecureContext, type SecureContextOptions } from 'node:tls';
import type { IClientOptions } from 'mqtt';
import { readBounded } from '../../config/read-bounded.js';
import type { BrokerConfig, SecretPlace } from '../../config/resolved.js';

/** A bundle of every public authority is some 250 KB. */
const MAX_FILE_BYTES = 1024 * 1024;
const CERTIFICATES = /-----BEGIN CERTIFICATE-----[\s\S]*?-----END CERTIFICATE-----/g;
/** Mode bits that let anybody read. */
const OTHERS_READ = 0o004;

/** One line that names the key of the truck file, the file or variable, and what to do; never what stands in it. */
export class CredentialsError extends Error {}

/**
 * Who we are to the broker, from environment and files as they are now. `warn` gets a line for each secret that everybody on
 * this computer may read. Throws CredentialsError.
 */
export function readCredentials(broker: BrokerConfig, warn: (line: string) => void = () => {}): IClientOptions {
  const { user, password, ca, cert, key } = broker;
  if ((cert === null) !== (key === null)) {
    const [has, wants] = cert === null ? ['key', 'cert'] : ['cert', 'key'];
    throw new CredentialsError(`mqtt.${has} needs mqtt.${wants} beside it: name both or neither`);
  }
  const options: IClientOptions = {};
  if (user !== null) options.username = user;
  if (password !== null) options.password = readSecret('mqtt.password', 'password', password, warn);
  if (ca !== null) options.ca = pemOf('mqtt.ca', ca, 'CERTIFICATE');
  if (cert !== null && key !== null) {
    options.cert = pemOf('mqtt.cert', cert, 'CERTIFICATE');
    options.key = pemOf('mqtt.key', key, 'PRIVATE KEY');
    warnOfReaders('mqtt.key', key, warn);
  }
  checkTogether(options, broker);
  return options;
}

/**
 * A password or another secret, without the line end that editors and echo put behind it. `name`: its key in the file, for the one
 * line of the CredentialsError. It need not be mqtt's.
 */
export function readSecret(
  name: string,
  what: string,
  place: SecretPlace,
  warn: (line: string) => void = () => {},
): string {
  if ('env' in place) {
    const value = process.env[place.env];
    if (value !== undefined && value !== '') return value;
    const lacks = value === undefined ? 'is not set' : 'is empty';
    throw new CredentialsError(
      `${name}: the environment variable ${place.env} ${lacks}; set it where the service is started`,
    );
  }
  const text = fileOf(name, place.file).replace(/\r?\n$/, '');
  if (text === '') throw new CredentialsError(`${name}: ${place.file} is empty; write the ${what} into it`);
  warnOfReaders(name, place.file, warn);
  return text;
}

/** Authorities to trust, as PEM text. Throws a CredentialsError. */
export function readAuthorities(name: string, path: string): string {
  const pem = pemOf(name, path, 'CERTIFICATE');
  try {
    readAll(pem);
  } catch (error) {
    const code = (error as { code?: string }).code ?? 'not as expected';
    throw new CredentialsError(`${name}: ${path} cannot be read as certificates (${code})`);
  }
  return pem;
}

function fileOf(name: string, path: string): string {
  try {
    const text = readBounded(path, MAX_FILE_BYTES);
    if (text === null) throw new CredentialsError(`${name}: ${path} is larger than 1 MB; is it the right file?`);
    return text;
  } catch (error) {
    if (error instanceof CredentialsError) throw error;
    const code = (error as { code?: string }).code ?? 'unknown error';
    throw new CredentialsError(`${name}: ${path} cannot be read (${code}); ${remedyOf(code)}`);
  }
}

function remedyOf(code: string): string {
  if (code === 'ENOENT') return 'put it there or name another file';
  if (code === 'EACCES' || code === 'EPERM') return 'give the service leave to read it';
  return 'name a file';
}

function pemOf(name: string, path: string, kind: string): string {
  const text = fileOf(name, path);
  if (new RegExp(`^-----BEGIN [A-Z ]*${kind}-----`, 'm').test(text)) return text;
  throw new CredentialsError(`${name}: ${path} holds no ${kind.toLowerCase()} in PEM form (BEGIN … ${kind})`);
}

function warnOfReaders(name: string, path: string, warn: (line: string) => void): void {
  if ((statSync(path).mode & OTHERS_READ) === 0) return;
  warn(`${name}: ${path} can be read by everybody on this computer; chmod o= ${path}`);
}

/** Files that are each in order may still not belong together. OpenSSL's own words could repeat what stands in them. */
function checkTogether({ ca, cert, key }: IClientOptions, broker: BrokerConfig): void {
  const checks = [
    { name: 'mqtt.ca', path: broker.ca, what: 'cannot be read as certificates', check: () => readAll(ca) },
    { name: 'mqtt.cert', path: broker.cert, what: 'cannot be read as a certificate', check: () => readAll(cert) },
    {
      name: 'mqtt.key',
      path: broker.key,
      what: 'cannot be read (without a passphrase)',
      check: () => secured({ key }),
    },
    {
      name: 'mqtt.key',
      path: broker.key,
      what: `does not belong to ${broker.cert}`,
      check: () => secured({ cert, key }),
    },
  ];
  for (const { name, path, what, check } of checks) {
    try {
      check();
    } catch (error) {
      throw new CredentialsError(
        `${name}: ${path} ${what} (${(error as { code?: string }).code ?? 'not as expected'})`,
      );
    }
  }
}

/** A secure context takes no notice of authorities that it cannot read. */
function readAll(pem: IClientOptions['ca']): void {
  for (const block of String(pem ?? '').match(CERTIFICATES) ?? []) new X509Certificate(block);
}

function secured(options: { [K in 'cert' | 'key']?: IClientOptions[K] | undefined }): void {
  createSecureContext(options as SecureContextOptions);
}
