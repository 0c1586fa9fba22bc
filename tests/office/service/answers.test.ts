import { expect, it } from 'vitest';
import type { AnswerMessage } from '../../../adapters/mqtt/messages.js';
import { newTruckState, type TruckState } from '../../../office/core/model.js';
import { Answers } from '../../../office/service/answers.js';
import type { OfficeClock } from '../../../office/service/clock.js';

const KEY = { fleet: 'northline', truck: 'T-1042' };
const OTHER = { fleet: 'northline', truck: 'T-208' };
const clock: OfficeClock = { nowMs: () => 1_000_000, after: () => () => {} };

const said = (rev: number): TruckState => ({
  ...newTruckState(),
  rev,
  published: { rev, received: { store: 'k3f9q2m1x7ab', seq: rev }, trailer: null, decisions: [], ms: 1_000_000 },
});

/** A broker that answers when the test says so. */
class SlowBroker {
  readonly published: { truck: string; rev: number }[] = [];
  #settle: ((isTaken: boolean) => void)[] = [];

  publish = ({ truck }: { truck: string }, { rev }: AnswerMessage): Promise<void> => {
    this.published.push({ truck, rev });
    return new Promise((resolve, reject) => {
      this.#settle.push((isTaken) => (isTaken ? resolve() : reject(new Error('away'))));
    });
  };

  async settle(isTaken: boolean): Promise<void> {
    for (const each of this.#settle.splice(0)) each(isTaken);
    await new Promise(setImmediate);
  }
}

function made(answers: Answers, key: typeof KEY, rev: number): void {
  answers.made(key, rev);
  answers.stored(key, said(rev), []);
}

it('what is on its way is not said again, and what the broker did not take is', async () => {
  const broker = new SlowBroker();
  const answers = new Answers({ clock, publish: broker.publish });
  made(answers, KEY, 1);
  await answers.resend();
  expect(broker.published).toEqual([{ truck: 'T-1042', rev: 1 }]);
  await broker.settle(false);
  void answers.resend();
  await broker.settle(true);
  await answers.resend();
  expect(broker.published.map(({ rev }) => rev)).toEqual([1, 1]);
});

it('an answer that was made while older ones are said again stays the last', async () => {
  const broker = new SlowBroker();
  const answers = new Answers({ clock, publish: broker.publish });
  made(answers, KEY, 1);
  made(answers, OTHER, 1);
  await broker.settle(false);
  // The first is said again, and while it waits the other truck has a newer one.
  void answers.resend();
  made(answers, OTHER, 2);
  await broker.settle(true);
  await broker.settle(true);
  await answers.resend();
  expect(broker.published.filter(({ truck }) => truck === OTHER.truck).map(({ rev }) => rev)).toEqual([1, 2]);
});
