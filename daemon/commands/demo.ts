import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { startEmbeddedBroker } from '../../adapters/mqtt/embedded-broker.js';
import { OfficeInbox } from '../../adapters/mqtt/office-inbox.js';
import { REPLAY_ROOT } from '../../adapters/mqtt/topics.js';
import { packageRoot } from '../../config/package.js';
import type { EventMessage } from '../alerts/message.js';
import { EXIT } from './failure.js';
import { type Console, replayCommand } from './replay.js';
import { timelineEntry } from './timeline.js';
import { readTruck } from './truck-file.js';

const TRUCK_FILE = 'config/examples/T-1042.yaml';
const SHIFT = 'replay-logs/morning-run.log.gz';

/** Shows in under a minute what Axlepost does: a shift goes in as CAN frames, the office receives its alerts over MQTT. */
export async function demoCommand(console: Console): Promise<number> {
  const root = packageRoot();
  const config = join(root, TRUCK_FILE);
  const { show, truck, fleet } = readTruck(config, console.err);
  const say = (line = ''): void => void console.out.write(`${line}\n`);
  const started = performance.now();
  const broker = await startEmbeddedBroker();
  const received: EventMessage[] = [];
  const office = await OfficeInbox.connect({
    url: broker.url,
    root: REPLAY_ROOT,
    onEvent: (event) => received.push(event as EventMessage),
  });
  const storePath = join(mkdtempSync(join(tmpdir(), 'axlepost-demo-')), 'T-1042.db');
  say(
    `Truck ${truck} of fleet ${fleet}, a shift of three hours: CAN frames -> readings -> rules -> SQLite -> MQTT -> office.`,
  );
  say();
  try {
    // The summary of the replay and its progress go to stderr; what the office hears is printed below.
    const quiet = { out: { write: () => true }, err: console.err };
    const code = await replayCommand([join(root, SHIFT)], { config, store: storePath, publish: broker.url }, quiet);
    if (code !== EXIT.done) return code;
  } finally {
    await office.close();
    await broker.close();
  }
  const style = {
    colour: console.out.isTTY === true && process.env.NO_COLOR === undefined,
    columns: console.out.columns ?? 100,
  };
  say(`\nWhat the office received over MQTT (${received.length} messages, times in UTC):\n`);
  for (const event of received) say(timelineEntry(event, show, style));
  const seconds = ((performance.now() - started) / 1000).toFixed(1);
  say(`\nDone in ${seconds} s. History, events and alerts are in SQLite:\n  ${storePath}`);
  for (const line of lookLines(storePath)) say(line);
  say(`\nYour own log: node dist/daemon/cli.js replay LOG --config ${relative(process.cwd(), config) || TRUCK_FILE}`);
  say(
    "Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.",
  );
  return EXIT.done;
}

function lookLines(path: string): string[] {
  return [
    'Look at it with the sqlite3 program (docs/database.md tells the tables):',
    `  sqlite3 -box ${path} "SELECT seq, rule, subject, change, urgency FROM events"`,
  ];
}
