import type { OfficeStore } from '../store/contract.js';
import { Hasher } from './hash.js';
import { accountNameProblem, passwordProblem } from './name-rules.js';

/** Of accounts and sessions, as sign-in and the command need it. */
export type AccountStore = Pick<
  OfficeStore,
  'account' | 'accounts' | 'putAccount' | 'removeAccount' | 'session' | 'putSession' | 'removeSession'
>;

/** Why an account was not made or changed: one line that says what to do. */
export class AccountError extends Error {}

/** Throws an AccountError when the name or the password is not good enough, or the name is there already. Rejects with a StoreError. */
export async function addAccount(
  store: AccountStore,
  name: string,
  password: string,
  hasher = new Hasher(),
): Promise<void> {
  const problem = accountNameProblem(name) ?? passwordProblem(name, password);
  if (problem !== null) throw new AccountError(problem);
  const same = (await store.accounts()).find((other) => fold(other) === fold(name));
  if (same !== undefined) throw new AccountError(`there is an account ${same} already`);
  await store.putAccount({ name, hash: await hasher.hash(password) });
}

/** All sessions of that name end. Throws an AccountError when there is no such account, or the password is not good enough. */
export async function setPassword(
  store: AccountStore,
  name: string,
  password: string,
  hasher = new Hasher(),
): Promise<void> {
  if (!(await exists(store, name))) throw new AccountError(`there is no account ${name}`);
  const problem = passwordProblem(name, password);
  if (problem !== null) throw new AccountError(problem);
  await store.putAccount({ name, hash: await hasher.hash(password) });
}

/** All sessions of that name end. Throws an AccountError when there is no such account. */
export async function removeAccount(store: AccountStore, name: string): Promise<void> {
  if (!(await exists(store, name))) throw new AccountError(`there is no account ${name}`);
  await store.removeAccount(name);
}

const exists = async (store: AccountStore, name: string): Promise<boolean> =>
  accountNameProblem(name) === null && (await store.account(name)) !== null;

/** Two names that are told apart by case or width alone would be taken for one another. */
const fold = (name: string): string => name.normalize('NFKC').toLowerCase();
