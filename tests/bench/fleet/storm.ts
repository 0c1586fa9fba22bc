import { setTimeout as pause } from 'node:timers/promises';
import type { Change } from './messages.js';
import type { Setup } from './setup.js';
import { latencyLines, line, ms, seconds, title, usageLines, whole } from './table.js';

/** So long the broker is away: back-off then lies between 4 and 16 s. */
const AWAY_MS = 10_000;
const BOARD_GOAL_MS = 5_000;
const MOST_S = 300;

/** The broker is killed; all trucks come back to it with events that they have kept. */
export async function storm(setup: Setup): Promise<void> {
  const { fleet, options, trucks } = setup;
  title(`${whole(trucks)} trucks come back after the broker was killed, with ${options.backlog} events each`);
  await setup.killBroker();
  await fleet.until('all trucks have noticed', 60, () => fleet.counts.connected === 0);
  fleet.forget();
  fleet.order({ order: 'backlog', events: options.backlog, every: 1 });
  await pause(AWAY_MS);
  const before = await fleet.fresh();
  const waiting = before.waiting;
  // What each truck has open at the end: its list is on the board when that alert is.
  const list = await fleet.list();
  const newest = new Map(list.map(({ truck, open }) => [open.at(-1)!, truck]));
  await setup.startBroker();
  const [usage, startMs] = [setup.usage(), Date.now()];
  await fleet.until('all trucks connect', MOST_S, () => fleet.counts.connected === trucks);
  const connectedS = (Date.now() - startMs) / 1000;
  await setup.settle(MOST_S);
  const tookS = (Date.now() - startMs) / 1000;
  const used = setup.usage();
  await fleet.until('all are on the board', MOST_S, () => firstSeen(fleet.seen, newest).size === trucks);
  const shown = firstSeen(fleet.seen, newest);
  const fromUp = [...shown].map(([truck, atMs]) => atMs - (fleet.ups.get(truck) ?? Number.NaN)).sort((a, b) => a - b);
  const after = await fleet.fresh();
  line('until all are connected (their back-off decides it)', seconds(connectedS));
  line('until the list of each is on the board', seconds((Math.max(...shown.values()) - startMs) / 1000));
  line('until all events are confirmed', seconds(tookS));
  const firstUpMs = Math.min(...fleet.ups.values());
  line(
    'events confirmed from the first connection on',
    `${whole(waiting / (tookS - (firstUpMs - startMs) / 1000))} /s`,
  );
  line('events sent more than once', whole(after.repeated - before.repeated));
  latencyLines('connected to list on the board', fromUp, BOARD_GOAL_MS);
  usageLines(usage, used, tookS);
  line("event loops of trucks and readers, the benchmark's own part", ms(fleet.delayMs));
}

/** Truck → when the board first showed its newest alert. */
function firstSeen(seen: readonly Change[], newest: ReadonlyMap<string, string>): Map<string, number> {
  const shown = new Map<string, number>();
  for (const [alert, , atMs] of seen) {
    const truck = newest.get(alert);
    if (truck !== undefined && !shown.has(truck)) shown.set(truck, atMs);
  }
  return shown;
}
