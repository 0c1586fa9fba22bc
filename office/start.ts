import { createHash } from 'node:crypto';
import { hostname } from 'node:os';
import { resolve } from 'node:path';
import { readCredentials } from '../adapters/mqtt/credentials.js';
import { fleetFilters, fleetRules, type OfficeConfig } from '../config/office.js';
import { pageFolder } from '../config/package.js';
import { BrokerLink } from './broker/link.js';
import type { TruckKey } from './core/model.js';
import { startSender } from './send/sender.js';
import { hostClock } from './service/clock.js';
import { Office } from './service/office.js';
import type { OfficeSettings } from './settings.js';
import type { OfficeStore } from './store/contract.js';
import { openPostgresStore } from './store/postgres.js';
import { openSqliteStore } from './store/sqlite.js';
import { startBoardServer } from './web/server.js';

export interface OfficeLog {
  info(line: string): void;
  warn(line: string): void;
  error(line: string): void;
}

export interface RunningOffice {
  office: Office;
  /** Where the board is, for people. */
  url: string;
  /** Stores what has come, lets go of everything. */
  close(): Promise<void>;
}

/** The store that the office file names. Rejects with a StoreError. */
export function openOfficeStore(
  config: OfficeConfig,
  settings: Pick<OfficeSettings, 'database'>,
  onNote: (line: string) => void = () => {},
): Promise<OfficeStore> {
  if (config.store.kind === 'sqlite') return openSqliteStore({ path: config.store.path });
  return openPostgresStore({ url: settings.database!, onNote });
}

/** The same at each start with this store on this computer, and another one elsewhere. */
function clientIdOf({ place }: Pick<OfficeStore, 'place'>): string {
  const whole = createHash('sha256')
    .update(`${hostname()} ${resolve(place)}`)
    .digest('hex');
  return `axlepost-office-${whole.slice(0, 12)}`;
}

function expectedTrucks({ fleets }: OfficeConfig): TruckKey[] {
  return Object.entries(fleets).flatMap(([fleet, { expected }]) => expected.map(({ truck }) => ({ fleet, truck })));
}

/** Opens everything that an office is made of: store, broker, senders, board. Rejects with one clear line and leaves nothing open. */
export async function startOffice(
  config: OfficeConfig,
  settings: OfficeSettings,
  log: OfficeLog,
): Promise<RunningOffice> {
  const store = await openOfficeStore(config, settings, log.warn);
  const office = await Office.start({
    store,
    clock: hostClock,
    rulesOf: (fleet) => fleetRules(config, fleet),
    keepMs: config.store.keepMs,
    expected: expectedTrucks(config),
    log,
    connect: (take, onNotes) =>
      BrokerLink.start({
        url: config.broker.url,
        credentials: () => readCredentials(config.broker, log.warn),
        fleets: fleetFilters(config),
        sharedGroup: config.shared,
        ...(config.shared === null && { clientId: clientIdOf(store), isKept: true }),
        take,
        onNotes,
        log: (level, line) => log[level](line),
      }),
  }).catch(async (error: unknown) => {
    await store.close();
    throw error;
  });
  const { webhooks, mail, web } = settings;
  const formOf = (fleet: string) => fleetRules(config, fleet);
  const sender = startSender({ store, webhooks, mail, formOf, board: web.origin, log });
  try {
    const board = await startBoardServer({ settings: settings.web, source: office, pageFolder: pageFolder(), log });
    return {
      office,
      url: board.url,
      close: async () => {
        await Promise.all([board.close(), sender.stop()]);
        await office.close();
      },
    };
  } catch (error) {
    await sender.stop();
    await office.close();
    throw error;
  }
}
