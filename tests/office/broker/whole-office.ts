import { hostTimers } from '../../../adapters/mqtt/clock.js';
import type { ReceivedEvent } from '../../../adapters/mqtt/messages.js';
import { fleetRules, loadOffice } from '../../../config/office.js';
import { BrokerLink, type BrokerLinkOptions } from '../../../office/broker/link.js';
import type { TruckState, Wish } from '../../../office/core/model.js';
import { Office } from '../../../office/service/office.js';
import type { OfficeStore } from '../../../office/store/contract.js';
import { openSqliteStore } from '../../../office/store/sqlite.js';
import { cleanup, FLEET, QUICK, TRUCK } from '../../adapters/mqtt/harness.js';
import { folder } from '../../adapters/mqtt/mosquitto.js';

/** The office's minutes go by so much faster: it confirms ten seconds after the first event, and each ten seconds. */
const FASTER = 20;

export const KEY = { fleet: FLEET, truck: TRUCK };

export interface WholeOffice {
  office: Office;
  store: OfficeStore;
  link: BrokerLink;
  /** Of T-1042, as it is stored; null before its first message. */
  state(): Promise<TruckState | null>;
  /** Kinds of what the link has handed on, with the number of an event and asOf of a list. */
  heard: string[];
  wish(wish: Omit<Wish, 'who' | 'note' | 'minutes'> & Partial<Wish>): Promise<string | null>;
}

/** Service, core, SQLite store and link, without a board; hides, if asked, some messages from the office, as a broker that lost them. */
export async function wholeOffice(url: string, hides: (kind: string, seq: number) => boolean = () => false) {
  const began = Date.now();
  const clock = {
    nowMs: () => began + (Date.now() - began) * FASTER,
    after: (ms: number, callback: () => void) => hostTimers().after(ms / FASTER, callback),
  };
  const config = loadOffice(null).config!;
  const store = await openSqliteStore({ path: `${folder()}/office.db` });
  const heard: string[] = [];
  const made: { link: BrokerLink | null } = { link: null };
  const office = await Office.start({
    store,
    clock,
    rulesOf: (fleet) => fleetRules(config, fleet),
    keepMs: 90 * 86_400_000,
    log: { warn: () => {}, error: (line) => heard.push(`ERROR ${line}`) },
    connect: (take, onNotes) => {
      const handOn: BrokerLinkOptions['take'] = (key, incoming) => {
        const { kind, message } = incoming;
        const number = kind === 'event' ? message.seq : kind === 'open' ? message.asOf : 0;
        if (hides(kind, number)) return undefined;
        heard.push(number === 0 ? kind : `${kind} ${number}`);
        return take(key, incoming);
      };
      made.link = BrokerLink.start({
        url,
        fleets: [FLEET],
        sharedGroup: 'desk',
        take: handOn,
        onNotes,
        timings: QUICK,
        clock: { ...hostTimers(), wallNow: clock.nowMs },
      });
      return made.link;
    },
  });
  cleanup(() => office.close());
  const whole: WholeOffice = {
    office,
    store,
    link: made.link!,
    state: () => store.truck(KEY),
    heard,
    wish: (wish) => office.wish(KEY, { who: 'Mara', note: null, minutes: null, ...wish }),
  };
  return whole;
}

/** Asks again until it is so; the test's own time limits it. */
export async function untilSo<T>(ask: () => Promise<T | null | undefined | false>): Promise<T> {
  for (;;) {
    const answer = await ask();
    if (answer !== null && answer !== undefined && answer !== false) return answer as T;
    await new Promise((resolve) => setTimeout(resolve, 10));
  }
}

/** Everything that the office has of the truck, oldest first. */
export const eventsAt = async ({ store }: WholeOffice): Promise<ReceivedEvent[]> =>
  (await store.events({ ...KEY, limit: 1000 })).sort((a, b) => a.seq - b.seq);
