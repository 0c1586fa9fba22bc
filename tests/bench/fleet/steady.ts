import { setTimeout as pause } from 'node:timers/promises';
import { MESSAGES_A_DAY, perSecond } from './day.js';
import { type Latencies, latencies } from './latencies.js';
import type { Setup } from './setup.js';
import { auditLines, latencyLines, line, ms, must, seconds, title, usageLines, whole } from './table.js';

const GOAL_P99_MS = 1_000;
/** Longest wait from the office's confirmation to the board. */
const MOST_LATE_S = 15;
/** Burst: events that each truck commits at one moment, while it is connected. Not a whole life: nobody would see it. */
const BURST_EVENTS = 3;
/** One truck in so many: a fleet in which all trucks are in trouble at one moment is none. */
const BURST_EVERY = 5;
const BURST_S = 300;

/** A day's traffic goes on for a while. */
export async function steady(setup: Setup, rate: number): Promise<void> {
  const { fleet, options, trucks } = setup;
  const expected = perSecond(MESSAGES_A_DAY, trucks) * rate;
  title(
    `${whole(trucks)} trucks, ${rate} times a typical day, ${options.seconds} s: ${whole(expected)} messages/s expected`,
  );
  const before = await fleet.fresh();
  const [usage, startMs, board] = [setup.usage(), performance.now(), fleet.board];
  fleet.forget();
  fleet.order({ order: 'live', factor: rate });
  await pause(options.seconds * 1000);
  const after = await fleet.fresh();
  const tookS = (performance.now() - startMs) / 1000;
  const used = setup.usage();
  fleet.order({ order: 'live', factor: 0 });
  await setup.settle();
  const found = await shown(setup);
  const messages = after.events - before.events + after.others - before.others;
  line('messages of trucks, without wills', `${whole(messages / tookS)} /s`);
  line('of these events', `${((after.events - before.events) / tookS).toFixed(1)} /s`);
  line('connections that were lost and made again', `${((after.connects - before.connects) / tookS).toFixed(1)} /s`);
  line(
    `messages to each of ${options.readers} readers`,
    `${whole((fleet.board.messages - board.messages) / tookS)} /s`,
  );
  latencyLines('commit to board', found.ms, GOAL_P99_MS);
  line('changes committed without a connection, not in these times', whole(after.unconnected - before.unconnected));
  shownLines(fleet.committed.length, found);
  usageLines(usage, used, tookS);
  line("event loops of trucks and readers, the benchmark's own part", ms(fleet.delayMs));
}

/** As fast as it goes: many trucks have several events at one moment. */
export async function burst(setup: Setup): Promise<void> {
  const { fleet, trucks } = setup;
  const some = Math.ceil(trucks / BURST_EVERY);
  const events = some * BURST_EVENTS;
  title(`${whole(some)} of ${whole(trucks)} trucks commit ${BURST_EVENTS} events each at one moment`);
  const [usage, startMs] = [setup.usage(), Date.now()];
  fleet.forget();
  fleet.order({ order: 'backlog', events: BURST_EVENTS, every: BURST_EVERY });
  await setup.settle(BURST_S);
  const tookS = (Date.now() - startMs) / 1000;
  const used = setup.usage();
  const found = await shown(setup);
  const lastMs = fleet.seen.reduce((last, [, , atMs]) => Math.max(last, atMs), 0);
  line('until the board shows all of them', seconds((lastMs - startMs) / 1000));
  line('events from commit to board', `${whole((1000 * events) / (lastMs - startMs))} /s`);
  line('until all are confirmed, at most every ten seconds', seconds(tookS));
  latencyLines('commit to board', found.ms, null);
  shownLines(fleet.committed.length, found);
  usageLines(usage, used, tookS);
}

/** When all is on the board, or is not for long. */
async function shown({ fleet }: Setup): Promise<Latencies> {
  for (let left = MOST_LATE_S; ; left--) {
    await pause(1000);
    const found = latencies(fleet.committed, fleet.seen, fleet.before);
    if (found.unseen === 0 || left === 0) return found;
  }
}

function shownLines(all: number, { overtaken, unseen }: Latencies): void {
  line('changes that were over before the board could show them', whole(overtaken));
  must(`changes of ${whole(all)} that the board did not show`, whole(unseen), '0', unseen === 0);
}

export async function stored(setup: Setup): Promise<void> {
  auditLines(await setup.audit());
}
