import { execFileSync, spawnSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

export const opensslIsInstalled = spawnSync('openssl', ['version'], { stdio: 'ignore' }).error === undefined;

export interface Pair {
  cert: string;
  key: string;
}

/** `YYYYMMDDHHMMSSZ`, as openssl ca wants it. */
const stamp = (ms: number): string => `${new Date(ms).toISOString().replace(/[-:T]|\.\d+/g, '')}`;
const DAY_MS = 86_400_000;

/** An authority of its own in a folder, which signs what it is asked to. */
export class Authority {
  readonly ca: string;
  readonly #folder: string;
  #serial = 0;

  constructor(folder: string, name: string) {
    this.#folder = join(folder, name.replaceAll(' ', '-'));
    mkdirSync(this.#folder);
    this.ca = this.#path('ca.crt');
    const key = this.#path('ca.key');
    writeFileSync(this.#path('index'), '');
    writeFileSync(this.#path('index.attr'), 'unique_subject = no\n');
    writeFileSync(this.#path('ca.conf'), this.#conf());
    this.#openssl([
      'req',
      '-x509',
      '-newkey',
      'ec',
      '-pkeyopt',
      'ec_paramgen_curve:P-256',
      '-nodes',
      '-keyout',
      key,
      '-out',
      this.ca,
      '-subj',
      `/CN=${name}`,
      '-days',
      '2',
    ]);
  }

  /** A certificate for `name`, also a name or address in its list of names; valid from a day ago for two unless it says otherwise. */
  sign(name: string, alt: string, valid: { fromMs?: number; toMs?: number } = {}): Pair {
    const now = Date.now();
    const file = `${name.replaceAll('/', '-')}-${++this.#serial}`;
    const pair = { cert: this.#path(`${file}.crt`), key: this.#path(`${file}.key`) };
    const request = this.#path('request.csr');
    const extensions = this.#path('extensions.conf');
    writeFileSync(extensions, `subjectAltName=${alt}\n`);
    this.#openssl([
      'req',
      '-newkey',
      'ec',
      '-pkeyopt',
      'ec_paramgen_curve:P-256',
      '-nodes',
      '-keyout',
      pair.key,
      '-out',
      request,
      '-subj',
      `/CN=${name.replaceAll('/', '\\/')}`,
    ]);
    this.#openssl([
      'ca',
      '-batch',
      '-notext',
      '-config',
      this.#path('ca.conf'),
      '-in',
      request,
      '-out',
      pair.cert,
      '-extfile',
      extensions,
      '-startdate',
      stamp(valid.fromMs ?? now - DAY_MS),
      '-enddate',
      stamp(valid.toMs ?? now + DAY_MS),
    ]);
    return pair;
  }

  #conf(): string {
    const at = this.#folder;
    return `[ca]
default_ca = here
[here]
database = ${at}/index
new_certs_dir = ${at}
rand_serial = yes
certificate = ${at}/ca.crt
private_key = ${at}/ca.key
default_md = sha256
policy = any
[any]
commonName = supplied
`;
  }

  #path(name: string): string {
    return join(this.#folder, name);
  }

  #openssl(args: string[]): void {
    execFileSync('openssl', args, { stdio: 'pipe' });
  }
}
