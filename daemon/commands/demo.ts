import { mkdtempSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, relative } from 'node:path';
import { setTimeout as sleep } from 'node:timers/promises';
import { type EmbeddedBroker, startEmbeddedBroker } from '../../adapters/mqtt/embedded-broker.js';
import { OfficeInbox } from '../../adapters/mqtt/office-inbox.js';
import { REPLAY_ROOT } from '../../adapters/mqtt/topics.js';
import { packageRoot } from '../../config/package.js';
import type { EventMessage } from '../alerts/message.js';
import { type Console, styleOf } from './console.js';
import { EXIT, Failure } from './failure.js';
import { replayLogs } from './replay.js';
import { timelineEntry, wrapped } from './timeline.js';
import { readTruck } from './truck-file.js';

const TRUCK_FILE = 'config/examples/T-1042.yaml';
const SHIFT = 'replay-logs/morning-run.log.gz';
/** The broker has everything; the office gets it within this. */
const OFFICE_MS = 10_000;
const LOOK_AGAIN_MS = 5;

export interface DemoOptions {
  /** Ends when the shift is over. */
  once?: boolean;
}

/**
 * Shows in under a minute what Axlepost does: a shift goes in as CAN frames, the office receives its alerts over MQTT. Then the board
 * stays open until SIGINT or SIGTERM.
 */
export async function demoCommand({ once = false }: DemoOptions, console: Console): Promise<number> {
  const root = packageRoot();
  const config = join(root, TRUCK_FILE);
  const { show, truck, fleet } = readTruck(config, console.err);
  const style = styleOf(console.out);
  const say = (line = '', indent = 0): void => void console.out.write(`${wrapped(line, style.columns, indent)}\n`);
  const started = performance.now();
  say(`Axlepost demonstration: truck ${truck} of fleet ${fleet}, a recorded shift of three hours.`);
  say('CAN frames -> readings -> rules -> SQLite -> MQTT -> office');
  const folder = mkdtempSync(join(tmpdir(), 'axlepost-demo-'));
  const storePath = join(folder, `${truck}.db`);
  const broker = await startEmbeddedBroker();
  try {
    const received = await replayToOffice(broker, { config, log: join(root, SHIFT), storePath }, console);
    say(`\nWhat the office received over MQTT (${received.length} messages, times in UTC):\n`);
    for (const event of received) console.out.write(`${timelineEntry(event, show, style)}\n`);
    tellWhatElse(started, storePath, console);
    if (!once) await showBoard(broker, mkdtempSync(join(folder, 'board-')), console);
  } finally {
    await broker.close();
  }
  return EXIT.done;
}

function tellWhatElse(started: number, storePath: string, console: Console): void {
  const root = packageRoot();
  const style = styleOf(console.out);
  const say = (line: string): void => void console.out.write(`${wrapped(line, style.columns, 0)}\n`);
  const seconds = ((performance.now() - started) / 1000).toFixed(1);
  const here = relative(process.cwd(), root);
  say(`\nDone in ${seconds} s. History, events and alerts are in SQLite:`);
  console.out.write(`  ${storePath}\n`);
  say('Look at it with the sqlite3 program (docs/database.md tells the tables):');
  console.out.write(`  sqlite3 -box ${storePath} "SELECT seq, rule, subject, change, urgency FROM events"\n`);
  say('\nYour own log:');
  console.out.write(`  node ${join(here, 'dist/axlepost.js')} replay LOG --config ${join(here, TRUCK_FILE)}\n\n`);
  say(
    "Axlepost advises. It does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.",
  );
}

/** The dispatcher's board on a local address, until somebody ends it. */
async function showBoard(broker: EmbeddedBroker, folder: string, { out, err }: Console): Promise<void> {
  // Loaded only here: it brings the web server and the simulator along.
  const { openDemoBoard } = await import('./demo-board.js');
  const ended = new Promise<void>((resolve) => {
    for (const signal of ['SIGTERM', 'SIGINT'] as const) process.once(signal, () => resolve());
  });
  const board = await openDemoBoard(broker, folder, err);
  out.write(
    "\nThe dispatcher's board, with this truck and a dozen simulated ones (the same shift, as if it were now):\n\n",
  );
  out.write(`  ${board.url}\n  name      ${board.name}\n  password  ${board.password}\n\n`);
  out.write('The trucks come in one after the other. Ctrl-C ends it.\n');
  board.ready.then(
    () => out.write('All trucks are there.\n'),
    (error: unknown) => err.write(`a simulated truck could not be driven: ${error}\n`),
  );
  await ended;
  await board.close();
}

/** Replays the shift to the broker and gives what an office that listens there received. Throws a Failure. */
async function replayToOffice(
  broker: EmbeddedBroker,
  { config, log, storePath }: { config: string; log: string; storePath: string },
  console: Console,
): Promise<EventMessage[]> {
  const received: EventMessage[] = [];
  const office = await OfficeInbox.connect({
    url: broker.url,
    root: REPLAY_ROOT,
    onEvent: (event) => received.push(event as EventMessage),
  });
  try {
    // What the replay itself would print; here the office has the word.
    const quiet = { out: { write: () => true }, err: console.err };
    const { code, events } = await replayLogs([log], { config, store: storePath, publish: broker.url }, quiet);
    if (code !== EXIT.done) throw new Failure(code, `${log}: the shift could not be replayed to its end`);
    for (const start = performance.now(); received.length < events; await sleep(LOOK_AGAIN_MS)) {
      if (performance.now() - start > OFFICE_MS)
        throw new Failure(EXIT.failed, `the office received only ${received.length} of ${events} events`);
    }
  } finally {
    await office.close();
  }
  return received;
}
