import { describe, expect, it } from 'vitest';
import { Drive } from './drive.js';

const RULE = 'brake-hot';

/** EBC5 once a second with the brake temperature warning (SPN 3839). */
const warning = (d: Drive, seconds: number, state: number, source = 11): Drive =>
  d.run(seconds, () => d.send(64964, source, { 3839: state }));

describe('brake-hot: the brake controller warns (SPN 3839)', () => {
  it('next-stop after 5 s of it, not after 4', () => {
    // Each frame counts until the next one.
    const four = warning(warning(new Drive(), 10, 0), 4, 1);
    expect(warning(four, 60, 0).of(RULE)).toEqual([]);
    const d = warning(warning(new Drive(), 10, 0), 5, 1);
    expect(d.of(RULE)).toEqual([]);
    d.stepper.advance(d.t);
    expect(d.of(RULE)).toEqual(['raised next-stop']);
    expect(d.list(RULE)[0]).toMatchObject({
      t: 15_000,
      subject: 'brakes',
      urgency: 'next-stop',
      measured: { code: 1, text: 'brake temperature warning' },
      basis: 'common practice',
    });
  });

  it('one frame without it begins anew', () => {
    const d = warning(new Drive(), 4, 1);
    warning(d, 1, 0);
    warning(d, 4, 1);
    expect(warning(d, 1, 0).of(RULE)).toEqual([]);
  });

  it.each([
    ['error', 2],
    ['not available', 3],
  ])('%s is no warning, and takes none back', (_, state) => {
    expect(warning(new Drive(), 60, state).of(RULE)).toEqual([]);
    const d = warning(warning(new Drive(), 10, 1), 55, state);
    expect(d.of(RULE)).toEqual(['raised next-stop']);
    expect(warning(d, 60, state).of(RULE)).toEqual(['raised next-stop', 'unsure next-stop']);
  });

  it('cleared after 10 s without it, not by silence', () => {
    const d = warning(new Drive(), 10, 1);
    warning(d, 10, 0);
    expect(d.of(RULE)).toEqual(['raised next-stop']);
    expect(warning(d, 2, 0).of(RULE)).toEqual(['raised next-stop', 'cleared next-stop']);
    const silent = warning(new Drive(), 10, 1).run(300);
    expect(silent.of(RULE)).toEqual(['raised next-stop', 'unsure next-stop']);
    expect(warning(silent, 2, 1).of(RULE).at(-1)).toBe('sure next-stop');
  });

  it('of two controllers the one that warns is believed', () => {
    const d = new Drive();
    d.run(10, () => {
      d.send(64964, 11, { 3839: 0 });
      d.send(64964, 12, { 3839: 1 });
    });
    expect(d.of(RULE)).toEqual(['raised next-stop']);
    d.run(30, () => {
      d.send(64964, 11, { 3839: 0 });
      d.send(64964, 12, { 3839: 0 });
    });
    expect(d.of(RULE)).toEqual(['raised next-stop', 'cleared next-stop']);
  });

  it('a restart in the middle: what was collected counts on, time down does not', () => {
    const d = warning(new Drive(), 3, 1);
    d.restart(1000);
    expect(warning(d, 2, 1).of(RULE)).toEqual([]);
    expect(warning(d, 1, 1).of(RULE)).toEqual(['raised next-stop']);
    const forgotten = warning(new Drive(), 3, 1);
    forgotten.restart(600_000);
    expect(warning(forgotten, 5, 1).of(RULE)).toEqual([]);
    expect(warning(forgotten, 1, 1).of(RULE)).toEqual(['raised next-stop']);
  });

  it('asleep in the middle: from nothing', () => {
    const d = new Drive();
    Object.assign(d.world, { kmh: 0 });
    // The last frame counts for another three seconds, its age limit.
    warning(d, 2, 1).rest(1000);
    expect(warning(d, 5, 1).of(RULE)).toEqual([]);
    expect(warning(d, 1, 1).of(RULE)).toEqual(['raised next-stop']);
  });
});
