import { expect } from 'vitest';
import { type Arrived, type Office, openAfter } from './office.js';
import type { Truck } from './trucks.js';

/** The code that is there from the first moment to the last. */
export const LASTING = 'fault-code fault/main/48/7153/5 plan';
/** What is open once the codes have come to rest: held to an uninterrupted run by kill-random.test.ts. */
export const LAST_ALERTS = [
  'fault-code fault/main/64/7273/5 plan',
  'fault-code fault/main/66/7275/5 plan',
  LASTING,
].sort();

interface Row {
  seq: number;
  alert: string;
  change: string;
  rule: string;
  subject: string;
}

/**
 * Waits until the codes have come to rest and everything has arrived; then holds what the office has to what the database has,
 * and both to an uninterrupted run. Gives the number of events.
 */
export async function expectNothingLost(truck: Truck, office: Office): Promise<number> {
  const rests = `alerts at rest: ${LAST_ALERTS.join(', ')}`;
  const atRest = (): boolean => {
    if (truck.atS < truck.restS || truck.identity === null || openNow(truck).join() !== LAST_ALERTS.join())
      return false;
    // Afterwards: what was committed last belongs to it.
    const { store, last_seq: last } = truck.identity;
    return last === office.upTo(store);
  };
  await office.until(rests, atRest).catch((error: Error) => {
    throw new Error(`${error.message}; open: ${openNow(truck)}; ${JSON.stringify(truck.identity)}`);
  });
  const { store, last_seq: last } = truck.identity!;
  // One store all along: no start took its database for broken.
  expect(office.events.map((event) => event.store).filter((other) => other !== store)).toEqual([]);
  const first = firstArrivals(office.events);
  expect(first.map((event) => event.seq)).toEqual(Array.from({ length: last }, (_, n) => n + 1));
  const rows = truck.stored<Row>(
    'SELECT e.seq, a.id AS alert, e.change, e.rule, e.subject FROM events e JOIN alerts a ON a.seq = e.alert ORDER BY e.seq',
  );
  expect(first.map(({ seq, alert, change, rule, subject }) => ({ seq, alert, change, rule, subject }))).toEqual(rows);
  expect(openAfter(first)).toEqual(LAST_ALERTS);
  expectAlertsInOrder(first);
  return last;
}

/** `rule subject urgency` of what is open in the database, sorted. */
export function openNow(truck: Truck): string[] {
  return truck
    .stored<{ text: string }>(
      `SELECT rule || ' ' || subject || ' ' || urgency AS text FROM alerts WHERE state = 'open' ORDER BY text`,
    )
    .map(({ text }) => text)
    .sort();
}

/** Whatever comes again is what came before. */
function firstArrivals(events: readonly Arrived[]): Arrived[] {
  const known = new Map<number, Arrived>();
  for (const event of events) {
    const before = known.get(event.seq);
    if (before === undefined) known.set(event.seq, event);
    else expect(event.text).toBe(before.text);
  }
  return [...known.values()];
}

/** Each alert is raised once and ended once, and the lasting code is one alert over all starts. */
function expectAlertsInOrder(events: readonly Arrived[]): void {
  const changes = new Map<string, string[]>();
  for (const { alert, change } of events) changes.set(alert, [...(changes.get(alert) ?? []), change]);
  for (const [alert, [first, ...rest]] of changes) {
    expect([alert, first]).toEqual([alert, 'raised']);
    expect([alert, rest.filter((change) => change === 'raised')]).toEqual([alert, []]);
  }
  const lasting = events.filter(({ subject }) => LASTING.includes(` ${subject} `));
  expect(lasting.filter(({ change }) => change === 'raised')).toHaveLength(1);
  expect(lasting.filter(({ change }) => change === 'cleared' || change === 'closed')).toEqual([]);
}
