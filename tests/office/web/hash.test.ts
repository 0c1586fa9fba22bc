import { scryptSync } from 'node:crypto';
import { describe, expect, it } from 'vitest';
import { HASH_COST, Hasher } from '../../../office/web/hash.js';
import { CHEAP } from './support/board.js';

const cheap = () => new Hasher({ cost: CHEAP });
const PASSWORD = 'seven quiet winters';

describe('a hash', () => {
  it('has its parameters in it, and is scrypt of the password with its salt', async () => {
    const hash = await cheap().hash(PASSWORD);
    const [, salt, key] = /^scrypt:N=1024,r=8,p=1:([\w-]{22}):([\w-]{43})$/.exec(hash)!;
    const derived = scryptSync(PASSWORD, Buffer.from(salt!, 'base64url'), 32, { N: 1_024, r: 8, p: 1 });
    expect(derived.toString('base64url')).toBe(key);
  });

  it('is another one each time', async () => {
    expect(await cheap().hash(PASSWORD)).not.toBe(await cheap().hash(PASSWORD));
  });

  it('of RFC 7914, section 12, is recognised', async () => {
    // scrypt (P="pleaseletmein", S="SodiumChloride", N=16384, r=8, p=1, dkLen=64)
    const key =
      '7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2d5432955613f0fcf62d49705242a9af9e61e85dc0d651e40dfcf017b45575887';
    const [salt64, key64] = [
      Buffer.from('SodiumChloride').toString('base64url'),
      Buffer.from(key, 'hex').toString('base64url'),
    ];
    const hash = `scrypt:N=16384,r=8,p=1:${salt64}:${key64}`;
    expect(await cheap().check('pleaseletmein', hash)).toBe(true);
    expect(await cheap().check('pleaseletmeim', hash)).toBe(false);
  });

  it('is checked: the right password, another one, in either form of the same letters', async () => {
    const hash = await cheap().hash('früh am Morgen');
    expect(await cheap().check('früh am Morgen', hash)).toBe(true);
    expect(await cheap().check('früh am Morgen'.normalize('NFD'), hash)).toBe(true);
    expect(await cheap().check('fruh am Morgen', hash)).toBe(false);
    expect(await cheap().check('', hash)).toBe(false);
  });

  it('costs by default what is recommended: N=2^17, r=8, p=1', async () => {
    const hasher = new Hasher();
    const hash = await hasher.hash(PASSWORD);
    expect(hash).toMatch(/^scrypt:N=131072,r=8,p=1:/);
    expect(await hasher.check(PASSWORD, hash)).toBe(true);
  });

  const rest = `${'A'.repeat(22)}:${'A'.repeat(43)}`;
  it.each([
    '',
    'anything',
    `scrypt:N=1024,r=8,p=1:${'A'.repeat(22)}`,
    `scrypt:N=1000,r=8,p=1:${rest}`,
    `scrypt:N=1,r=8,p=1:${rest}`,
    `scrypt:N=0,r=8,p=1:${rest}`,
    `scrypt:N=1024,r=0,p=1:${rest}`,
    `scrypt:N=1024,r=8,p=0:${rest}`,
    `scrypt:N=1024,r=8,p=17:${rest}`,
    `scrypt:N=2097152,r=8,p=1:${rest}`,
    `scrypt:N=1024,r=8,p=1:${rest}:`,
  ])('that is not ours, or would exhaust the machine, is never right: %s', async (hash) => {
    const hasher = cheap();
    expect(await hasher.check('', hash)).toBe(false);
    expect(hasher.isOutdated(hash)).toBe(false);
    // It takes what a right one takes.
    expect(hasher.counts.done).toBe(1);
  });

  it('without a name takes what one with a name takes, and is wrong', async () => {
    const hasher = cheap();
    expect(await hasher.check(PASSWORD, null)).toBe(false);
    expect(hasher.counts.done).toBe(1);
  });
});

describe('a hash is outdated', () => {
  const of = (N: number, r: number, p: number) => new Hasher({ cost: { N, r, p } });

  it('when it took less than new ones take, and not when it took as much or more', async () => {
    const hash = await of(1_024, 8, 1).hash(PASSWORD);
    expect(of(1_024, 8, 1).isOutdated(hash)).toBe(false);
    expect(of(512, 8, 1).isOutdated(hash)).toBe(false);
    expect(of(2_048, 8, 1).isOutdated(hash)).toBe(true);
    expect(of(1_024, 16, 1).isOutdated(hash)).toBe(true);
    expect(of(1_024, 8, 2).isOutdated(hash)).toBe(true);
    expect(new Hasher({ cost: HASH_COST }).isOutdated(hash)).toBe(true);
  });
});

describe('many at once', () => {
  it('two run, some wait in turn, the others are refused', async () => {
    const hasher = new Hasher({ cost: CHEAP, atOnce: 2, waiting: 3 });
    const ended: number[] = [];
    const all = Array.from({ length: 12 }, (_, i) => hasher.check(PASSWORD, null).then(() => ended.push(i)));
    const results = await Promise.allSettled(all);
    expect(results.map(({ status }) => status)).toEqual(results.map((_, i) => (i < 5 ? 'fulfilled' : 'rejected')));
    expect(results.at(-1)).toMatchObject({ reason: { status: 503 } });
    expect(hasher.counts).toEqual({ running: 0, mostRunning: 2, done: 5, refused: 7 });
    expect(await hasher.check(PASSWORD, null)).toBe(false);
  });

  it('one that fails gives its place to the next', async () => {
    const hasher = new Hasher({ cost: { N: 3, r: 8, p: 1 }, atOnce: 1, waiting: 3 });
    const failed = await Promise.allSettled([hasher.hash('a'), hasher.hash('b'), hasher.hash('c')]);
    expect(failed.map(({ status }) => status)).toEqual(['rejected', 'rejected', 'rejected']);
    expect(hasher.counts.running).toBe(0);
  });
});
