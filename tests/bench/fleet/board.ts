/** Readers of the board: what each browser's page gets. The first one's messages are looked at; `fleet.ts` starts it. */
import { get, type IncomingMessage } from 'node:http';
import { monitorEventLoopDelay } from 'node:perf_hooks';
import type { BoardSnapshot, BoardTruck } from '../../../office/core/board-model.js';
import type { BoardReport, BoardTask, Change, Shown } from './messages.js';

const REPORT_MS = 200;

const task = JSON.parse(process.argv[2]!) as BoardTask;
const tell = (report: BoardReport): void => void process.send?.(report);
const counts = { messages: 0, bytes: 0, broken: 0 };
let changes: Change[] = [];

/** Truck → its alerts as they were shown last. */
const shown = new Map<string, Map<string, Shown>>();

function show({ fleet, truck, alerts }: BoardTruck, ms: number): void {
  const name = `${fleet}/${truck}`;
  const before = shown.get(name);
  const now = new Map<string, Shown>(alerts.map(({ id, urgency }) => [id, urgency]));
  if (now.size === 0) shown.delete(name);
  else shown.set(name, now);
  for (const [id, urgency] of now) if (before?.get(id) !== urgency) changes.push([id, urgency, ms]);
  for (const id of before?.keys() ?? []) if (!now.has(id)) changes.push([id, 'gone', ms]);
}

function look(event: string, data: string): void {
  const ms = Date.now();
  counts.messages++;
  if (event === 'truck') show(JSON.parse(data) as BoardTruck, ms);
  if (event !== 'board') return;
  for (const truck of (JSON.parse(data) as BoardSnapshot).trucks) show(truck, ms);
  tell({ report: 'reading' });
}

/** text/event-stream: lines of one message, then an empty line (HTML standard, 9.2.6). */
function read(stream: IncomingMessage): void {
  let rest = '';
  stream.setEncoding('utf8').on('data', (text: string) => {
    const messages = (rest + text).split('\n\n');
    rest = messages.pop()!;
    for (const message of messages) {
      const field = (name: string): string =>
        message
          .split('\n')
          .filter((line) => line.startsWith(`${name}: `))
          .map((line) => line.slice(name.length + 2))
          .join('\n');
      look(field('event'), field('data'));
    }
  });
}

for (let reader = 0; reader < task.readers; reader++) {
  get(`${task.url}/live`, { headers: { ...task.headers, [task.userHeader]: `desk-${reader}` } }, (stream) => {
    if (stream.statusCode !== 200) throw new Error(`the board answers ${stream.statusCode}`);
    if (reader === 0) read(stream);
    stream.on('data', (chunk: string | Buffer) => {
      counts.bytes += chunk.length;
    });
    stream.on('close', () => {
      counts.broken++;
    });
  }).on('error', (error) => {
    throw error;
  });
}

const delay = monitorEventLoopDelay({ resolution: 10 });
delay.enable();
setInterval(() => {
  if (changes.length > 0) tell({ report: 'changes', changes });
  changes = [];
  tell({ report: 'counts', counts: { ...counts, delayP99Ms: Math.max(0, delay.percentile(99) / 1e6 - 10) } });
  delay.reset();
}, REPORT_MS);
process.on('disconnect', () => process.exit(0));
