import { expect, it } from 'vitest';
import { AnswerReceiver } from '../../../adapters/mqtt/answer-receiver.js';
import { HandTimers } from '../../support/timers.js';

const TOPIC = 'axlepost/1/northline/T-1042/answer';

it('of very many answers in one second twenty are read, and of the rest the newest when it is over', () => {
  const clock = new HandTimers();
  const revs: number[] = [];
  const receiver = new AnswerReceiver({
    topic: TOPIC,
    clock,
    subackMs: 1_000,
    onAnswer: ({ rev }) => revs.push(rev),
    ready: () => {},
    warn: () => {},
  });
  const say = (rev: number): void => {
    const answer = { v: 1, rev, received: null, trailer: null, decisions: [] };
    receiver.message(TOPIC, Buffer.from(JSON.stringify(answer)));
  };
  for (let rev = 1; rev <= 500; rev++) say(rev);
  expect(revs).toEqual(Array.from({ length: 20 }, (_, i) => i + 1));
  clock.pass(999);
  expect(revs).toHaveLength(20);
  clock.pass(1);
  expect(revs.slice(20)).toEqual([500]);
  // The next second has room again, and after a connection has ended nothing of it is read: it is retained.
  for (let rev = 501; rev <= 600; rev++) say(rev);
  expect(revs.at(-1)).toBe(519);
  receiver.down();
  clock.pass(5_000);
  expect(revs.at(-1)).toBe(519);
  expect(receiver.count.answers).toBe(revs.length);
});
