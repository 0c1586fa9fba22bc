/** Thousands of simulated trucks in one process; `fleet.ts` starts it and tells it what to do. */
import { monitorEventLoopDelay } from 'node:perf_hooks';
import { hostTimers, type PublisherClock } from '../../../adapters/mqtt/clock.js';
import { Random } from '../../../simulator/random.js';
import { LiveDay } from './live-day.js';
import {
  type Commit,
  type TrucksCounts,
  type TrucksOrder,
  type TrucksReport,
  type TrucksTask,
  truckName,
} from './messages.js';
import { LIFE } from './stories.js';
import { Truck } from './truck.js';

const REPORT_MS = 200;
/** One truck in twenty has an open alert when it connects. */
const TROUBLED = 20;

const task = JSON.parse(process.argv[2]!) as TrucksTask;
const random = new Random(task.seed);
const run = { zeroWallMs: Math.floor(Date.now() / 1000) * 1000, synced: true };
const clock: PublisherClock = {
  ...hostTimers(),
  random: () => random.next(),
  streamNow: () => Date.now() - run.zeroWallMs,
  wallNow: () => Date.now(),
};

const counts = { orders: 0, connected: 0, committed: 0, unconnected: 0, waiting: 0, connects: 0 };
let changes: Commit[] = [];
let ups: [string, number][] = [];

const trucks = Array.from({ length: task.count }, (_, i) => {
  const name = truckName(task.first + i);
  return new Truck({
    ...{ fleet: task.fleet, name, port: task.port, run, clock, random: random.fork(task.first + i) },
    onCommit: (alert, shown, isConnected) => {
      counts.committed++;
      counts.waiting++;
      if (!isConnected) counts.unconnected++;
      changes.push([alert, shown, Date.now(), isConnected]);
    },
    onConfirmed: (events) => {
      counts.waiting -= events;
    },
    onUp: () => {
      counts.connected++;
      counts.connects++;
      ups.push([name, Date.now()]);
    },
    onDown: () => {
      counts.connected--;
    },
  });
});
const day = new LiveDay(trucks, random.fork(0));
day.prepare(TROUBLED);

/** Whole lives of alerts, and the last one stays open: the list of open alerts is another one in any case. */
function backlog(truck: Truck, events: number): void {
  let left = events;
  for (; left > LIFE.length; left -= LIFE.length) {
    const trouble = truck.raise();
    while (!truck.advance(trouble));
  }
  const last = truck.raise();
  for (left--; left > 0 && last.step < LIFE.length - 2; left--) truck.advance(last);
}

function obey(order: TrucksOrder): void {
  counts.orders++;
  if (order.order === 'live') day.run(order.factor);
  else if (order.order === 'backlog') {
    for (let i = 0; i < trucks.length; i += order.every) backlog(trucks[i]!, order.events);
  } else if (order.order === 'connect') {
    for (const [i, truck] of trucks.entries()) setTimeout(() => truck.connect(), (order.overMs * i) / trucks.length);
  } else {
    const list = trucks.map(({ name, store }) => ({
      ...{ truck: name, store: store.opened.store, lastSeq: store.opened.lastSeq },
      open: store.troubles.map(({ id }) => id),
    }));
    tell({ report: 'list', trucks: list });
  }
}

const tell = (report: TrucksReport): void => void process.send?.(report);

const delay = monitorEventLoopDelay({ resolution: 10 });
delay.enable();

function report(): void {
  if (changes.length > 0) tell({ report: 'changes', changes });
  if (ups.length > 0) tell({ report: 'up', ups });
  [changes, ups] = [[], []];
  const sent = { events: 0, repeated: 0, others: 0 };
  let trucksWaiting = 0;
  for (const truck of trucks) {
    const { events, repeated, others } = truck.sent;
    sent.events += events;
    sent.repeated += repeated;
    sent.others += others;
    if (truck.store.waiting > 0) trucksWaiting++;
  }
  const now: TrucksCounts = {
    ...{ trucks: trucks.length, ...counts, ...sent, trucksWaiting },
    delayP99Ms: Math.max(0, delay.percentile(99) / 1e6 - 10),
  };
  delay.reset();
  tell({ report: 'counts', counts: now });
}

setInterval(report, REPORT_MS);
process.on('message', (order: TrucksOrder) => obey(order));
process.on('disconnect', () => process.exit(0));
