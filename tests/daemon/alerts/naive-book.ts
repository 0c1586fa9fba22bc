import type { CloseReason } from '../../../daemon/alerts/event.js';
import type { Decision } from '../../../daemon/input.js';

/**
 * A second, deliberately plain reading of design.md, "Alert machine", from levels to events. It keeps two lists, what was said and
 * what was seen at each tick, and answers every question by looking through them. Times go on over restarts.
 */
export interface NaiveRule {
  name: string;
  kind: 'equipment' | 'system';
  expected: 'moving' | 'engine' | 'never';
  isSilence: boolean;
  subjects: string[];
}

const rule = (
  name: string,
  subjects: string[],
  expected: NaiveRule['expected'],
  kind: NaiveRule['kind'] = 'equipment',
  isSilence = false,
): NaiveRule => ({ name, kind, expected, isSilence, subjects });

export const OUTER = 'tractor/2/left/outer';
export const INNER = 'tractor/2/left/inner';
export const PAIR = 'tractor/2/left/pair';

/** Some rules of the table, in its order. */
export const NAIVE_RULES: readonly NaiveRule[] = [
  rule('tire-underinflated', [OUTER, INNER], 'moving'),
  rule('tire-losing-air', [OUTER], 'moving'),
  rule('duals-unequal', [PAIR], 'moving'),
  rule('tire-sensor-silent', [INNER], 'never', 'system', true),
  rule('air-low', ['air/service'], 'engine'),
  rule('air-leaking', ['air/supply'], 'never'),
  rule('compressor-overworked', ['air/supply'], 'never'),
  rule('circuits-unequal', ['air/service'], 'engine'),
  rule('bus-silent', ['bus/main'], 'never', 'system'),
];

/** [cause, its least level, what it mutes, the worst finding that it mutes, same wheel end or tire] */
const MUTES: readonly [string, number, string, number, boolean][] = [
  ['bus-silent', 1, 'tire-sensor-silent', 3, false],
  ['tire-losing-air', 2, 'duals-unequal', 3, false],
  ['tire-losing-air', 2, 'tire-underinflated', 1, true],
  ['air-low', 1, 'circuits-unequal', 3, false],
  ['air-low', 1, 'air-leaking', 3, false],
  ['air-low', 1, 'compressor-overworked', 3, false],
];
const CRANKING_MUTES = ['air-low', 'air-leaking', 'compressor-overworked', 'circuits-unequal'];
const EXPLAINS: readonly [cause: string, of: string][] = [
  ['air-low', 'circuits-unequal'],
  ['tire-losing-air', 'duals-unequal'],
  ['air-leaking', 'compressor-overworked'],
];
/** Their rules must be judged once after a start; the last three are never judged here. */
const AWAITED: Record<string, string[]> = {
  'tire-underinflated': ['tire-losing-air'],
  'duals-unequal': ['tire-losing-air'],
  'tire-sensor-silent': ['bus-silent', 'source-silent', 'tire-sensor-fault'],
  'air-leaking': ['air-low'],
  'compressor-overworked': ['air-low', 'air-leaking'],
  'circuits-unequal': ['air-low'],
  'bus-silent': ['bus-off'],
};
const URGENCY = ['', 'plan', 'next-stop', 'pull-over'];
const MIN = 60_000;

export interface NaiveInput {
  moving: boolean;
  engineRunning: boolean;
  cranking: boolean;
  standing: boolean;
  tripBegan: boolean;
  /** By "rule subject": the level that holds, and whether its data are fresh. */
  level: Record<string, number>;
  fresh: Set<string>;
  decisions: Decision[];
  /** "rule subject" of alerts that are to be closed, and why. */
  closing: Record<string, CloseReason>;
}

interface Said {
  at: number;
  key: string;
  alert: number;
  change: string;
  /** The announced level after it; of an ended one the level before. */
  level: number;
  /** Of a snooze. */
  minutes: number;
  line: string;
}

/** What an alert has seen in a tick in which it was followed. */
interface Seen {
  at: number;
  level: number;
  fresh: boolean;
}

export class NaiveBook {
  refused = 0;
  #now = 0;
  #startedAt = -60 * MIN;
  #said: Said[] = [];
  /** By alert. */
  #seen: Record<number, Seen[]> = {};
  /** When each was fresh last, and when it was muted last and up to which level. */
  #judgedAt: Record<string, number> = {};
  #muted: Record<string, { at: number; upTo: number }> = {};
  #restarts: { at: number; isLengthKnown: boolean }[] = [];
  /** Ticks at which the data of an open alert were missed. */
  #missed: Record<string, number[]> = {};
  /** `alert instant` at which the chattering was over. */
  #calmed = new Set<string>();

  restart(downMs: number | null): void {
    this.#now += Math.max(1, downMs ?? 0);
    this.#startedAt = this.#now;
    this.#restarts.push({ at: this.#now, isLengthKnown: downMs !== null });
    this.#missed = {};
  }

  /** The lines of one tick, a second after the last; sets the level of what is held at zero. */
  tick(input: NaiveInput): string[] {
    this.#now += 1000;
    const from = this.#said.length;
    for (const key of input.fresh) this.#judgedAt[key] = this.#now;
    for (const d of input.decisions) this.#decision(d, input);
    for (const key of Object.keys(input.closing)) {
      if (this.#open(key) === null) continue;
      this.#end(key, 'closed', input.closing[key]!);
      input.level[key] = 0;
    }
    this.#snoozes(input);
    for (const r of NAIVE_RULES) for (const subject of r.subjects) this.#one(r, `${r.name} ${subject}`, input);
    const order = (key: string) => NAIVE_RULES.flatMap((r) => r.subjects.map((s) => `${r.name} ${s}`)).indexOf(key);
    return this.#said
      .slice(from)
      .sort((a, b) => order(a.key) - order(b.key))
      .map((x) => x.line);
  }

  #seenBy(alert: number): Seen[] {
    return this.#seen[alert] ?? [];
  }

  #of(key: string): Said[] {
    return this.#said.filter((x) => x.key === key);
  }

  /** What was said of the open alert; null: none is open. */
  #open(key: string): Said[] | null {
    const last = this.#of(key).at(-1);
    if (last === undefined || last.change === 'cleared' || last.change === 'closed') return null;
    return this.#of(key).filter((x) => x.alert === last.alert);
  }

  #announced(key: string): number {
    return this.#open(key)?.at(-1)?.level ?? 0;
  }

  #isUnsure(key: string): boolean {
    const told = this.#open(key)?.filter((x) => ['unsure', 'sure', 'reopened'].includes(x.change));
    return told?.at(-1)?.change === 'unsure';
  }

  /** The instant at which the snooze ends; null: there is none. */
  #snoozeEnd(key: string): number | null {
    const open = this.#open(key) ?? [];
    const i = open.findLastIndex((x) => x.change === 'snoozed');
    if (i < 0) return null;
    const after = open.slice(i + 1);
    const isOver = after.some(
      (x, k) => x.change === 'resumed' || x.change === 'reopened' || x.level > [open[i]!, ...after][k]!.level,
    );
    return isOver ? null : open[i]!.at + open[i]!.minutes * MIN;
  }

  #say(key: string, change: string, level: number, was: number, more = '', minutes = 0): void {
    const before = this.#of(key).at(-1);
    const alert = change === 'raised' ? 1 + Math.max(0, ...this.#said.map((x) => x.alert)) : before!.alert;
    const isEnd = change === 'cleared' || change === 'closed';
    const worst = Math.max(level, ...this.#said.filter((x) => x.alert === alert).map((x) => x.level));
    const said: Said = { at: this.#now, key, alert, change, level, minutes, line: '' };
    this.#said.push(said);
    const urgency = URGENCY[isEnd ? worst : level];
    said.line =
      `${change} ${urgency} was ${URGENCY[was] || '-'} ${key} #${alert} by ${this.#cause(key)} ${more}`.trim();
  }

  #cause(key: string): number | null {
    const [name, subject] = key.split(' ') as [string, string];
    const found = EXPLAINS.filter(([, of]) => of === name).flatMap(([cause]) =>
      NAIVE_RULES.filter((r) => r.name === cause).flatMap((r) =>
        r.subjects
          .filter((s) => name !== 'duals-unequal' || wheelEnd(s) === wheelEnd(subject))
          .flatMap((s) => (this.#open(`${cause} ${s}`) === null ? [] : [this.#open(`${cause} ${s}`)!.at(-1)!])),
      ),
    );
    found.sort((a, b) => b.level - a.level || a.alert - b.alert);
    return found[0]?.alert ?? null;
  }

  #end(key: string, change: 'cleared' | 'closed', more = ''): void {
    const level = this.#announced(key);
    this.#say(key, change, level, level, more);
  }

  #decision(d: Decision, input: NaiveInput): void {
    const key = this.#said.find((x) => x.alert === d.alert)?.key;
    const level = key === undefined ? 0 : this.#announced(key);
    if (key === undefined || level === 0 || this.#open(key)![0]!.alert !== d.alert) {
      this.refused++;
      return;
    }
    if (d.do === 'take') this.#say(key, 'taken', level, 0);
    else if (d.do === 'snooze' && level < 3 && d.minutes! > 0 && d.minutes! <= 720)
      this.#say(key, 'snoozed', level, 0, '', d.minutes!);
    else if (d.do === 'resume' && this.#snoozeEnd(key) !== null) this.#say(key, 'resumed', level, 0);
    else if (d.do === 'close' && (this.#isUnsure(key) || input.standing)) {
      this.#end(key, 'closed', 'said-repaired');
      input.level[key] = 0;
    } else this.refused++;
  }

  #snoozes(input: NaiveInput): void {
    for (const key of new Set(this.#said.map((x) => x.key))) {
      const end = this.#snoozeEnd(key);
      if (end === null) continue;
      const at = this.#of(key).findLast((x) => x.change === 'snoozed')!.at;
      const isUnknown = this.#restarts.some((r) => r.at >= at && !r.isLengthKnown);
      if (this.#now >= end || input.tripBegan || isUnknown) this.#say(key, 'resumed', this.#announced(key), 0);
    }
  }

  /** The worst finding that is muted now; 0: none is. */
  #mutedUpTo(key: string, input: NaiveInput): number {
    const [name, subject] = key.split(' ') as [string, string];
    const level = input.level[key] ?? 0;
    const upTo = [0];
    for (const [cause, least, mutes, worst, isSame] of MUTES) {
      if (mutes !== name || level > worst) continue;
      for (const s of NAIVE_RULES.find((r) => r.name === cause)!.subjects) {
        const belongs = isSame ? s === subject : name !== 'duals-unequal' || wheelEnd(s) === wheelEnd(subject);
        const causeKey = `${cause} ${s}`;
        const restored = this.#isRestored(causeKey) ? this.#announced(causeKey) : 0;
        if (belongs && Math.max(input.level[causeKey] ?? 0, restored) >= least) upTo.push(worst);
      }
    }
    if (input.cranking && CRANKING_MUTES.includes(name)) upTo.push(3);
    return Math.max(...upTo);
  }

  /** Open since before the start, and neither judged nor said to be unsure since. */
  #isRestored(key: string): boolean {
    const open = this.#open(key);
    if (open === null || open[0]!.at >= this.#startedAt) return false;
    const spoke = open.some((x) => x.at > this.#startedAt && ['unsure', 'sure', 'reopened'].includes(x.change));
    return !spoke && !this.#seenBy(open[0]!.alert).some((x) => x.at > this.#startedAt);
  }

  #waits(name: string, key: string, input: NaiveInput): boolean {
    const level = input.level[key] ?? 0;
    const upTo = this.#mutedUpTo(key, input);
    if (upTo > 0 && level > 0) this.#muted[key] = { at: this.#now, upTo };
    const muted = this.#muted[key];
    const isMuted = muted !== undefined && this.#now - muted.at < 30_000 && level <= muted.upTo;
    const judged = (cause: string): boolean =>
      Object.entries(this.#judgedAt).some(([k, at]) => k.startsWith(`${cause} `) && at > this.#startedAt);
    const awaits = this.#now - this.#startedAt < 20_000 && (AWAITED[name] ?? []).some((cause) => !judged(cause));
    return isMuted || awaits;
  }

  #one(r: NaiveRule, key: string, input: NaiveInput): void {
    if (r.isSilence && this.#announced(key) === 0 && this.#mutedUpTo(key, input) > 0) input.level[key] = 0;
    const waits = this.#waits(r.name, key, input);
    const level = input.level[key] ?? 0;
    if (this.#open(key) !== null) this.#follow(r, key, input, waits);
    else if (level > 0 && !waits) {
      const last = this.#of(key).at(-1);
      const isSame = last?.change === 'cleared' && this.#now - last.at <= 15 * MIN;
      this.#say(key, isSame ? 'reopened' : 'raised', level, 0);
      const began = this.#see(key, level, input);
      if (began) this.#say(key, 'chattering', level, 0);
    }
  }

  #follow(r: NaiveRule, key: string, input: NaiveInput, waits: boolean): void {
    this.#sureness(r, key, input);
    if (this.#isRestored(key) && !((this.#judgedAt[key] ?? Number.NEGATIVE_INFINITY) > this.#startedAt)) return;
    const level = input.level[key] ?? 0;
    const { alert } = this.#open(key)![0]!;
    const began = this.#see(key, level, input);
    const announced = this.#announced(key);
    const isChattering = this.#chatteringSince(key) !== null;
    if (level > announced && !waits) this.#say(key, 'worse', level, announced);
    else if (!isChattering && level < announced) this.#fall(key, level);
    if (isChattering && this.#calmTicks(key) >= 600 && !(waits && level > announced)) {
      // One event for the level that then holds.
      if (level === this.#announced(key)) this.#say(key, 'sure', level, 0);
      else this.#fall(key, level);
      this.#calmed.add(`${alert} ${this.#now}`);
    }
    if (began) this.#say(key, 'chattering', this.#announced(key), 0);
  }

  #fall(key: string, level: number): void {
    if (level === 0) this.#end(key, 'cleared');
    else this.#say(key, 'better', level, this.#announced(key));
  }

  #sureness(r: NaiveRule, key: string, input: NaiveInput): void {
    const isFresh = input.fresh.has(key);
    if (this.#isUnsure(key)) {
      if (isFresh) this.#say(key, 'sure', this.#announced(key), 0);
      return;
    }
    const isExpected = r.expected === 'moving' ? input.moving : r.expected === 'engine' && input.engineRunning;
    this.#missed[key] ??= [];
    if (isFresh || !isExpected) this.#missed[key] = [];
    else this.#missed[key].push(this.#now);
    const since = this.#missed[key][0];
    if (since !== undefined && this.#now - since >= MIN) this.#say(key, 'unsure', this.#announced(key), 0);
  }

  /** True when it begins to chatter with this. */
  #see(key: string, level: number, input: NaiveInput): boolean {
    const { alert } = this.#open(key)![0]!;
    const was = this.#chatteringSince(key) !== null;
    this.#seen[alert] ??= [];
    this.#seen[alert].push({ at: this.#now, level, fresh: input.fresh.has(key) });
    return !was && this.#chatteringSince(key) !== null;
  }

  /** Instants at which the level rose after it had fallen, since the alert began or ceased to chatter. */
  #reversals(alert: number): number[] {
    const list: number[] = [];
    let hasFallen = false;
    const seen = this.#seenBy(alert);
    for (const [i, x] of seen.entries()) {
      const before = seen[i - 1]?.level ?? 0;
      if (x.level < before) hasFallen = true;
      if (x.level > before && hasFallen) {
        list.push(x.at);
        hasFallen = false;
      }
      if (this.#calmed.has(`${alert} ${x.at}`)) list.length = 0;
    }
    return list;
  }

  #chatteringSince(key: string): number | null {
    const open = this.#open(key);
    if (open === null) return null;
    const list = this.#reversals(open[0]!.alert);
    for (const [i, at] of list.entries()) {
      const within = (ms: number) => list.slice(0, i + 1).filter((x) => at - x <= ms).length;
      if (within(MIN) >= 3 || within(30 * MIN) >= 6) return at;
    }
    return null;
  }

  /** Ticks with data since the last reversal. */
  #calmTicks(key: string): number {
    const { alert } = this.#open(key)![0]!;
    const last = this.#reversals(alert).at(-1)!;
    // Where the alert came back with the reversal it is followed from the next tick on.
    const isReopened = this.#said.some((x) => x.alert === alert && x.at === last && x.change === 'reopened');
    return this.#seenBy(alert).filter((x) => x.fresh && (isReopened ? x.at > last : x.at >= last)).length;
  }
}

const wheelEnd = (subject: string): string => subject.slice(0, subject.lastIndexOf('/'));
