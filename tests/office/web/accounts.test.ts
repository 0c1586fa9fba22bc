import { describe, expect, it } from 'vitest';
import { addAccount, removeAccount, setPassword } from '../../../office/web/accounts.js';
import { Hasher } from '../../../office/web/hash.js';
import { accountNameProblem, isPrintableName, passwordProblem } from '../../../office/web/name-rules.js';
import { MemoryAccounts } from './support/accounts.js';
import { CHEAP } from './support/board.js';

const PASSWORD = 'seven quiet winters';
const hasher = new Hasher({ cost: CHEAP });

describe('names of accounts', () => {
  it.each([
    'Anna',
    'anna@northline.example',
    'Zoë Müller',
    "O'Neill",
    'Jean-Luc',
    '安娜',
    'J. R.',
    '7',
    'x'.repeat(64),
  ])('%s is one', (name) => {
    expect(accountNameProblem(name)).toBeNull();
    expect(isPrintableName(name)).toBe(true);
  });

  it.each([
    '',
    ' Anna',
    'Anna ',
    'An  na',
    'An\tna',
    'An\nna',
    'An\u0000na',
    'An\u200Bna',
    'An\u202Ena',
    'An\u00A0na',
    '\uFEFFAnna',
    'Zoe\u0308',
    '<b>Anna</b>',
    '=Anna',
    'Anna/../x',
    '-Anna',
    'x'.repeat(65),
    '\uD800',
  ])('%j is none', (name) => {
    expect(accountNameProblem(name)).toMatch(/^a name [^\n]+$/);
  });
});

describe('passwords', () => {
  it.each([
    'seven quiet winters',
    'correcthorsebatterystaple',
    'Gz7!kq0-Wm2x',
    'früh am Morgen los',
    '窓の外に静かな冬が七つある',
    `xxxx${'abcdefgh'.repeat(31)}q7m!`,
  ])('%s is good enough', (password) => {
    expect(passwordProblem('Anna', password)).toBeNull();
  });

  it.each([
    ['seven quiet', 'at least 12 characters'],
    ['Gz7!kq0-Wm2', 'at least 12 characters'],
    ['𝒶𝒷𝒸𝒹𝒻𝒽', 'at least 12 characters'],
    [`${'seven quiet winters '.repeat(12)}and some more of it`, 'at most 256 characters'],
    ['aaaaaaaaaaaaaaaa', 'the same few characters'],
    ['abababababab', 'the same few characters'],
    ['passwordpassword', 'the same few characters'],
    ['winter7winter7win', 'the same few characters'],
    ['123456789012', 'in the order of'],
    ['abcdefghijklmno', 'in the order of'],
    ['zyxwvutsrqponm', 'in the order of'],
    ['098765432109', 'in the order of'],
    ['anna likes winter', 'does not contain anna'],
    ['my-axlepost-office', 'does not contain axlepost'],
  ])('%s is not: %s', (password, why) => {
    expect(passwordProblem('Anna', password)).toContain(why);
  });

  it('may not have a part of the name either, and short names are no part of anything', () => {
    expect(passwordProblem('anna.winter@northline.example', 'seven quiet winters')).toContain('winter');
    expect(passwordProblem('Jo', 'joining seven quiet rivers')).toBeNull();
    expect(passwordProblem('northline one', 'northlineone')).not.toBeNull();
  });
});

describe('accounts', () => {
  it('are added, with the hash of their password only', async () => {
    const store = new MemoryAccounts();
    await addAccount(store, 'Anna', PASSWORD, hasher);
    const { hash } = (await store.account('Anna'))!;
    expect(hash).not.toContain('quiet');
    expect(await hasher.check(PASSWORD, hash)).toBe(true);
  });

  it('are added by default with what new hashes cost', async () => {
    const store = new MemoryAccounts();
    await addAccount(store, 'Anna', PASSWORD);
    expect((await store.account('Anna'))!.hash).toMatch(/^scrypt:N=131072,r=8,p=1:/);
  });

  it.each(['Anna', 'anna', 'ＡＮＮＡ'.normalize('NFKC'), 'ＡＮＮＡ'])(
    '%s is taken where there is an Anna',
    async (name) => {
      const store = new MemoryAccounts();
      await addAccount(store, 'Anna', PASSWORD, hasher);
      const before = store.hashes.get('Anna');
      await expect(addAccount(store, name, PASSWORD, hasher)).rejects.toThrow('there is an account Anna already');
      expect([...store.hashes]).toEqual([['Anna', before]]);
    },
  );

  it('are not added with a bad name or password', async () => {
    const store = new MemoryAccounts();
    await expect(addAccount(store, ' ', PASSWORD, hasher)).rejects.toThrow(/^a name/);
    await expect(addAccount(store, 'Anna', 'short', hasher)).rejects.toThrow(/^a password/);
    expect(store.hashes.size).toBe(0);
  });

  it('get another password, which ends their sessions', async () => {
    const store = new MemoryAccounts();
    await addAccount(store, 'Anna', PASSWORD, hasher);
    await store.putSession('a', { name: 'Anna', token: 't', untilMs: 9e12 });
    await setPassword(store, 'Anna', 'eight loud summers', hasher);
    expect(await hasher.check('eight loud summers', store.hashes.get('Anna')!)).toBe(true);
    expect(store.sessions.size).toBe(0);
    await expect(setPassword(store, 'Anna', 'anna', hasher)).rejects.toThrow(/^a password/);
    await expect(setPassword(store, 'Bert', PASSWORD, hasher)).rejects.toThrow('there is no account Bert');
  });

  it('are removed', async () => {
    const store = new MemoryAccounts();
    await addAccount(store, 'Anna', PASSWORD, hasher);
    await removeAccount(store, 'Anna');
    expect(store.hashes.size).toBe(0);
    await expect(removeAccount(store, 'Anna')).rejects.toThrow('there is no account Anna');
  });
});
