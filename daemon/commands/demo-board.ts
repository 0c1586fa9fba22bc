import { randomBytes } from 'node:crypto';
import { join } from 'node:path';
import type { EmbeddedBroker } from '../../adapters/mqtt/embedded-broker.js';
import { loadOffice } from '../../config/office.js';
import { startOffice } from '../../office/start.js';
import { addAccount } from '../../office/web/accounts.js';
import type { Out } from './console.js';
import { demoFleet } from './demo-fleet.js';
import { DemoTruck } from './demo-truck.js';

const NAME = 'dispatch desk';
/** The usual port, so that the address is easy to say; another when it is taken. */
const PORT = 8430;
const SECOND_MS = 1_000;

export interface DemoBoard {
  url: string;
  name: string;
  password: string;
  /** Resolves when all trucks have driven their past. */
  ready: Promise<void>;
  close(): Promise<void>;
}

/** The board, fed by the demonstration shift and a dozen simulated trucks through a broker inside this process. Rejects with one line. */
export async function openDemoBoard(broker: EmbeddedBroker, folder: string, err: Out): Promise<DemoBoard> {
  const { config, problems } = loadOffice(null);
  if (config === undefined) throw new Error(problems.map(({ text }) => text).join('; '));
  const password = randomBytes(9).toString('base64url');
  const own = {
    ...config,
    broker: { ...config.broker, url: broker.url },
    store: { ...config.store, kind: 'sqlite' as const, path: join(folder, 'office.db') },
  };
  const log = {
    info: () => {},
    warn: (line: string) => void err.write(`${line}\n`),
    error: (line: string) => void err.write(`${line}\n`),
  };
  const start = (port: number): ReturnType<typeof startOffice> => {
    const web = {
      listen: { kind: 'tcp' as const, host: '127.0.0.1', port },
      origin: null,
      signIn: { kind: 'accounts' as const },
    };
    return startOffice(own, { web, credentials: {}, database: null, webhooks: [], mail: [] }, log);
  };
  const running = await start(PORT).catch(() => start(0));
  await addAccount(running.office.store, NAME, password);
  const trucks: DemoTruck[] = [];
  let isOver = false;
  const tick = setInterval(() => {
    for (const truck of trucks) truck.second();
  }, SECOND_MS);
  const drive = async (): Promise<void> => {
    for (const shift of demoFleet()) {
      if (isOver) return;
      const truck = await DemoTruck.open({ ...shift, brokerUrl: broker.url, folder });
      await truck.catchUp();
      trucks.push(truck);
    }
  };
  const ready = drive();
  return {
    url: running.url,
    name: NAME,
    password,
    ready,
    close: async () => {
      isOver = true;
      clearInterval(tick);
      await ready.catch(() => {});
      await Promise.all(trucks.map((truck) => truck.stop()));
      await running.close();
    },
  };
}
