import type { Case } from '../board/groups.js';

/** Who has what, by name; each in the order in which they came. */
export function byPerson(cases: readonly Case[]): { who: string; cases: Case[] }[] {
  const found = new Map<string, Case[]>();
  for (const one of cases) {
    const who = one.alert.taken?.who ?? one.alert.asked?.who ?? 'somebody';
    found.set(who, [...(found.get(who) ?? []), one]);
  }
  return [...found].map(([who, mine]) => ({ who, cases: mine })).sort((a, b) => a.who.localeCompare(b.who));
}
