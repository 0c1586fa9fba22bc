import { describe, expect, test } from 'vitest';
import type { ReceivedEvent } from '../../adapters/mqtt/messages.js';
import type { OfficeInbox } from '../../adapters/mqtt/office-inbox.js';
import { DEFAULT_TIMINGS } from '../../adapters/mqtt/publisher-options.js';
import type { GapRecord, Store } from '../../adapters/store/contract.js';
import { openStore } from '../../adapters/store/store.js';
import type { Urgency } from '../../config/resolved.js';
import type { EventDraft } from '../../daemon/alerts/event.js';
import { FLEET, makeBroker, makeInbox, makePublisher, TRUCK, until } from '../adapters/mqtt/harness.js';
import { folder, freePort, mosquittoIsInstalled, startMosquitto } from '../adapters/mqtt/mosquitto.js';
import { commit, draft, openAlert, openDraft, optionsIn } from '../adapters/store/helpers.js';
import { LongClock } from './broker/long-clock.js';
import { heldBytes } from './support/memory.js';
import { FaultRow, isFull } from './support/row.js';

const AWAY_MS = 72 * 3_600_000;
const EVENTS = isFull ? 200_000 : 3_000;
/** Each alert has so many events; every 25th stays open. */
const PER_ALERT = 10;
const PER_COMMIT = 100;
const OPEN_EVERY = 25;
const MB = 1024 * 1024;
/** What is promised (and measured in the full form; a loaded machine is no place for stopwatches). */
const MOST_GROWTH_BYTES = 20 * MB;
const LEAST_PER_S = 1_000;
const BOARD_MS = 5_000;
const URGENCIES: readonly Urgency[] = ['plan', 'next-stop', 'pull-over'];

const urgencyOf = (alert: number): Urgency => URGENCIES[alert % 3]!;
const staysOpen = (alert: number): boolean => alert % OPEN_EVERY === 0;

/** The n-th event (from 1): `PER_ALERT` to an alert, the last one clears it. */
function eventOf(n: number, t: number): EventDraft {
  const alert = Math.ceil(n / PER_ALERT);
  const step = (n - 1) % PER_ALERT;
  const urgency = urgencyOf(alert);
  if (step === 0) return draft(alert, 'raised', { t, urgency });
  const ends = step === PER_ALERT - 1 && !staysOpen(alert);
  return draft(alert, ends ? 'cleared' : step % 2 === 1 ? 'unsure' : 'sure', { t, urgency, was: urgency });
}

/** 72 hours without a broker: events are written, the publisher tries. Gives how much memory that cost. */
async function away(store: Store, clock: LongClock, poke: () => void): Promise<number> {
  const before = heldBytes();
  const open = new Map<number, ReturnType<typeof openAlert>>();
  for (let n = 1; n <= EVENTS; n += PER_COMMIT) {
    const t = Math.floor((AWAY_MS * n) / EVENTS);
    const events = Array.from({ length: PER_COMMIT }, (_, k) => eventOf(n + k, t));
    for (const { alert, change, urgency } of events) {
      if (change === 'raised') open.set(alert, openAlert(alert, { urgency }));
      if (change === 'cleared') open.delete(alert);
    }
    await store.commit(commit({ t, events, open: openDraft([...open.values()], t), state: '{}' }));
    poke();
    // Attempts are made in between, and fail.
    for (let k = 0; k < 4; k++) {
      clock.turn((AWAY_MS * PER_COMMIT) / EVENTS / 4);
      await new Promise((resolve) => setImmediate(resolve));
    }
  }
  return heldBytes() - before;
}

/** What the office sees, in order. */
interface Seen {
  seqs: number[];
  opens: { asOf: number; afterEvents: number; ms: number }[];
  gaps: GapRecord[];
  growth: number;
}

async function round(maxBytes: number): Promise<{ seen: Seen; store: Store; urgent: Map<number, Urgency> }> {
  const directory = folder();
  const port = await freePort();
  const clock = new LongClock();
  const store = await openStore(optionsIn(directory, { truck: TRUCK, maxBytes }));
  const publisher = makePublisher(store, `mqtt://127.0.0.1:${port}`, {
    confirm: 'office',
    clock,
    timings: DEFAULT_TIMINGS,
  });
  publisher.start();
  const grownAway = await away(store, clock, () => publisher.poke());
  const attempts = publisher.health().failures;
  expect(publisher.health()).toMatchObject({ connects: 0, eventsSent: 0, storeErrors: 0 });

  if (mosquittoIsInstalled) await startMosquitto(directory, [`listener ${port} 127.0.0.1`, 'allow_anonymous true']);
  else await makeBroker(port);
  const seen: Seen = { seqs: [], opens: [], gaps: [], growth: grownAway };
  const urgent = new Map<number, Urgency>();
  let connectedMs = 0;
  const inbox: OfficeInbox = await makeInbox({
    url: `mqtt://127.0.0.1:${port}`,
    onEvent: (event: ReceivedEvent) => {
      seen.seqs.push(event.seq);
      if (event.urgency !== 'plan') urgent.set(event.seq, event.urgency);
      if (seen.seqs.length % 50 === 0) answer();
    },
    onOpen: ({ asOf }) => seen.opens.push({ asOf, afterEvents: seen.seqs.length, ms: performance.now() - connectedMs }),
    onGap: (gap) => seen.gaps.push(gap),
  });
  let rev = 0;
  const answer = (): void => {
    const received = { store: store.opened.store, seq: seen.seqs.at(-1)! };
    void inbox.answer({ fleet: FLEET, truck: TRUCK }, { v: 1, rev: ++rev, received, trailer: null, decisions: [] });
  };
  while (publisher.health().state !== 'connecting') clock.turn(100);
  clock.run();
  connectedMs = performance.now();
  const before = heldBytes();
  // The last event is never thinned: it ends the last alert, or leaves it open.
  await until(() => seen.seqs.at(-1) === EVENTS);
  const seconds = (performance.now() - connectedMs) / 1000;
  answer();
  seen.growth = Math.max(seen.growth, heldBytes() - before);
  await until(() => publisher.health().confirmedSeq === EVENTS);
  const perS = seen.seqs.length / seconds;
  const [first] = seen.opens;
  console.log(
    `${EVENTS} events, ${seen.seqs.length} told in ${seconds.toFixed(1)} s (${Math.round(perS)}/s), ` +
      `${attempts} attempts in 72 h, open after ${Math.round(first?.ms ?? Number.NaN)} ms, ` +
      `memory ${(seen.growth / MB).toFixed(1)} MB, ${mosquittoIsInstalled ? 'mosquitto' : 'aedes'}`,
  );
  if (isFull) {
    expect(perS).toBeGreaterThanOrEqual(LEAST_PER_S);
    expect(first!.ms).toBeLessThan(BOARD_MS);
  }
  expect(inbox.counts).toMatchObject({ invalid: 0, foreign: 0 });
  return { seen, store, urgent };
}

const ascending = (seqs: readonly number[]): boolean => seqs.every((seq, i) => i === 0 || seq > seqs[i - 1]!);

describe('the broker away for 72 hours', () => {
  const row = new FaultRow('broker-away', { short: 1, full: 1 });
  const timeout = row.timeoutMs;

  test('all events arrive strictly by seq, after the board; little memory', { timeout }, async () => {
    const { seen, store } = await round(2_000 * MB);
    expect(seen.seqs).toEqual(Array.from({ length: EVENTS }, (_, k) => k + 1));
    expect(seen.opens[0]).toMatchObject({ asOf: EVENTS, afterEvents: 0 });
    expect(seen.gaps).toEqual([]);
    expect(seen.growth).toBeLessThan(MOST_GROWTH_BYTES);
    await untilAsync(async () => (await store.stats()).outbox === 0);
    await store.close();
  });

  test('what has no room is thinned by the rules, and told as a gap; all else arrives in order', {
    timeout,
  }, async () => {
    const { seen, store, urgent } = await round(isFull ? 256 * MB : 3 * MB);
    expect(ascending(seen.seqs)).toBe(true);
    expect(seen.opens[0]).toMatchObject({ asOf: EVENTS, afterEvents: 0 });
    const told = new Set(seen.seqs);
    const missing = Array.from({ length: EVENTS }, (_, k) => k + 1).filter((seq) => !told.has(seq));
    expect(missing.length).toBeGreaterThan(0);
    await untilAsync(async () => (await store.gaps()).length === 0);
    expect(seen.gaps.reduce((sum, { count }) => sum + count, 0)).toBe(missing.length);
    for (const seq of missing) {
      const alert = Math.ceil(seq / PER_ALERT);
      const place = (seq - 1) % PER_ALERT;
      expect([urgencyOf(alert), staysOpen(alert), place === 0 || place === PER_ALERT - 1]).not.toContain('pull-over');
      expect(staysOpen(alert)).toBe(false);
      expect(place).toBeGreaterThan(0);
      expect(place).toBeLessThan(PER_ALERT - 1);
      expect(seen.gaps.some(({ fromSeq, toSeq }) => fromSeq <= seq && seq <= toSeq)).toBe(true);
    }
    // Of pull-over alerts every event arrives.
    const pullOver = [...urgent].filter(([, urgency]) => urgency === 'pull-over').length;
    const written = Array.from({ length: EVENTS }, (_, k) => k + 1).filter(
      (seq) => urgencyOf(Math.ceil(seq / PER_ALERT)) === 'pull-over',
    ).length;
    expect(pullOver).toBe(written);
    await store.close();
  });
});

/** Asks again until it is so; the test's own time limits it. */
async function untilAsync(condition: () => Promise<boolean>): Promise<void> {
  while (!(await condition())) await new Promise((resolve) => setTimeout(resolve, 5));
}
