import { setTimeout as pause } from 'node:timers/promises';
import { MESSAGES_A_DAY, perSecond } from './day.js';
import { latencies } from './latencies.js';
import type { Setup } from './setup.js';
import { auditLines, goal, latencyLines, line, ms, title, usageLines, whole } from './table.js';

const GOAL_P99_MS = 1_000;
/** So long a change may take to the board after the last one was committed. */
const DRAIN_S = 5;
/** Burst: events that each truck commits at one moment, while it is connected. */
const BURST_EVENTS = 5;
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
  await pause(DRAIN_S * 1000);
  const { ms: found, unseen } = latencies(fleet.committed, fleet.seen);
  const messages = after.events - before.events + after.others - before.others;
  line('messages of trucks, without wills', `${whole(messages / tookS)} /s`);
  line('of these events', `${((after.events - before.events) / tookS).toFixed(1)} /s`);
  line('connections that were lost and made again', `${((after.connects - before.connects) / tookS).toFixed(1)} /s`);
  line(
    `messages to each of ${options.readers} readers`,
    `${whole((fleet.board.messages - board.messages) / tookS)} /s`,
  );
  latencyLines('commit to board', found, GOAL_P99_MS);
  goal(
    `changes of ${whole(fleet.committed.length)} that the board did not show`,
    whole(unseen.length),
    '0',
    unseen.length === 0,
  );
  usageLines(usage, used, tookS);
  line("event loops of trucks and readers, the benchmark's own part", ms(fleet.delayMs));
  await setup.settle();
}

/** As fast as it goes: all trucks have several events at one moment. */
export async function burst(setup: Setup): Promise<void> {
  const { fleet, trucks } = setup;
  const events = trucks * BURST_EVENTS;
  title(`${whole(trucks)} trucks commit ${BURST_EVENTS} events each at one moment`);
  const [usage, startMs] = [setup.usage(), performance.now()];
  fleet.forget();
  fleet.order({ order: 'backlog', events: BURST_EVENTS });
  await fleet.fresh();
  await setup.settle(BURST_S);
  const tookS = (performance.now() - startMs) / 1000;
  const used = setup.usage();
  await pause(DRAIN_S * 1000);
  const { ms: found, unseen } = latencies(fleet.committed, fleet.seen);
  line('until all are confirmed', `${tookS.toFixed(1)} s`);
  line('events confirmed', `${whole(events / tookS)} /s`);
  latencyLines('commit to board', found, null);
  goal(
    `changes of ${whole(fleet.committed.length)} that the board did not show`,
    whole(unseen.length),
    '0',
    unseen.length === 0,
  );
  usageLines(usage, used, tookS);
}

export async function stored(setup: Setup): Promise<void> {
  auditLines(await setup.audit());
}
