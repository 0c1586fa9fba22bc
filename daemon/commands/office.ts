import { createLogger } from '../../adapters/log/logger.js';
import { CredentialsError } from '../../adapters/mqtt/credentials.js';
import { loadOffice, type OfficeConfig } from '../../config/office.js';
import { formatProblem } from '../../config/problems.js';
import { type OfficeSettings, readOfficeSettings } from '../../office/settings.js';
import { openOfficeStore, startOffice } from '../../office/start.js';
import { StoreError } from '../../office/store/contract.js';
import { AccountError, addAccount, removeAccount, setPassword } from '../../office/web/accounts.js';
import { WebStartError } from '../../office/web/errors.js';
import { askPassword } from './ask-password.js';
import type { Console } from './console.js';
import { EXIT, Failure } from './failure.js';
import { VERSION } from './version.js';

export interface OfficeOptions {
  config?: string;
  addAccount?: string;
  password?: string;
  removeAccount?: string;
  accounts?: boolean;
}

/** The dispatcher's board, until SIGTERM or SIGINT; or one change of its accounts. Returns the exit code. Throws a Failure. */
export async function officeCommand(options: OfficeOptions, console: Console): Promise<number> {
  const config = readOffice(options.config ?? null, console);
  try {
    const settings = readOfficeSettings(config, (line) => console.err.write(`${line}\n`));
    if (isAboutAccounts(options)) return await changeAccounts(options, config, settings, console);
    return await serve(config, settings, console);
  } catch (error) {
    const isWorld = [CredentialsError, StoreError, WebStartError].some((kind) => error instanceof kind);
    if (isWorld) throw new Failure(EXIT.failed, (error as Error).message);
    if (error instanceof AccountError) throw new Failure(EXIT.usage, error.message);
    throw error;
  }
}

/** The office file, or a failure with one line per problem. Notes go to err. */
function readOffice(path: string | null, { err }: Console): OfficeConfig {
  const { config, notes, problems } = loadOffice(path);
  if (config === undefined) throw new Failure(EXIT.usage, problems.map(formatProblem).join('\n'));
  for (const note of notes) err.write(`${formatProblem({ ...note, text: `note: ${note.text}` })}\n`);
  return config;
}

async function serve(config: OfficeConfig, settings: OfficeSettings, console: Console): Promise<number> {
  const { logger, close } = createLogger();
  const log = {
    info: (line: string) => logger.info(line),
    warn: (line: string) => logger.warn(line),
    error: (line: string) => logger.error(line),
  };
  const told = new Promise<void>((resolve) => {
    for (const signal of ['SIGTERM', 'SIGINT'] as const) process.once(signal, () => resolve());
  });
  const running = await startOffice(config, settings, log).catch((error: unknown) => {
    close();
    throw error;
  });
  const { office, url } = running;
  logger.info({ version: VERSION, store: office.store.place, trucks: office.view.size }, 'started');
  console.err.write(`The board: ${url}\n`);
  if (settings.web.signIn.kind === 'accounts' && (await office.store.accounts()).length === 0) {
    console.err.write('Nobody can sign in yet: axlepost office --add-account NAME makes an account.\n');
  }
  await told;
  await running.close();
  close();
  return EXIT.done;
}

const isAboutAccounts = ({ addAccount, password, removeAccount, accounts }: OfficeOptions): boolean =>
  addAccount !== undefined || password !== undefined || removeAccount !== undefined || accounts === true;

/** The office may go on meanwhile: it reads accounts from the store each time. */
async function changeAccounts(
  options: OfficeOptions,
  config: OfficeConfig,
  settings: OfficeSettings,
  { out, err }: Console,
): Promise<number> {
  const store = await openOfficeStore(config, settings);
  try {
    if (options.addAccount !== undefined) {
      await addAccount(store, options.addAccount, await askPassword(options.addAccount, err));
      err.write(`${options.addAccount} can sign in.\n`);
    }
    if (options.password !== undefined) {
      await setPassword(store, options.password, await askPassword(options.password, err));
      err.write(`${options.password} has another password, and must sign in anew.\n`);
    }
    if (options.removeAccount !== undefined) {
      await removeAccount(store, options.removeAccount);
      err.write(`${options.removeAccount} can sign in no more.\n`);
    }
    if (options.accounts === true) for (const name of await store.accounts()) out.write(`${name}\n`);
    return EXIT.done;
  } finally {
    await store.close();
  }
}
