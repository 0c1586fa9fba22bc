import type { RuleName } from '../../config/resolved.js';
import { Book } from '../../daemon/alerts/book.js';
import { type BookState, newBookState, type Surroundings } from '../../daemon/alerts/book-state.js';
import type { EventDraft } from '../../daemon/alerts/event.js';
import { Judgement, type Level, type SubjectState } from '../../daemon/alerts/judgement.js';
import { RULES } from '../../daemon/alerts/rules.js';
import type { Decision } from '../../daemon/input.js';
import { areaOfSubject } from '../../daemon/monitors/faults.js';
import { adopt, revive, snapshot } from '../../daemon/state.js';
import { listSubjects } from '../../daemon/truck/subjects.js';
import { storyLine } from './rig.js';
import { truckOf } from './truck-file.js';

interface Saved {
  book: BookState;
  judgements: Record<string, Record<string, SubjectState>>;
}

export const PARKED: Surroundings = {
  moving: false,
  engineRunning: false,
  cranking: false,
  blind: false,
  standing: true,
  tripBegan: false,
  trailer: null,
  vehicle: () => ({ speed: null, lat: null, lon: null, ageS: null }),
};
export const DRIVING: Surroundings = { ...PARKED, moving: true, engineRunning: true, standing: false };

const config = truckOf();
const { tires, pairs, wheelEnds } = listSubjects(config.units);

/** The book of alerts with findings that are set by hand: what holds is a level here, not evidence. */
export class BookBench {
  around: Surroundings = DRIVING;
  t = 0;
  events: EventDraft[] = [];
  readonly state: Saved = { book: newBookState(), judgements: {} };
  readonly judgements: Judgement[];
  readonly book: Book;
  /** Subjects whose data are past their age limit, by "rule subject". */
  readonly stale = new Set<string>();
  /** Decisions of the office that wait for the next tick, and how many were refused so far. */
  #decisions: Decision[] = [];
  refused = 0;
  /** Subjects that are judged at every tick. */
  readonly #judged = new Set<string>();

  constructor(saved: unknown = null) {
    if (saved !== null) adopt(this.state, saved);
    // The program has been running for an hour: nothing waits for the first judgement of its cause.
    else this.state.book.startedAt = -3_600_000;
    this.judgements = RULES.map((rule) => {
      this.state.judgements[rule.name] ??= {};
      const j = new Judgement(rule, config.rules[rule.name], this.state.judgements[rule.name]!);
      for (const subject of subjectsOf(rule.subject)) j.add(subject, subject);
      j.fresh = (s) => !this.stale.has(s.key) && this.#judged.has(s.key);
      return j;
    });
    this.book = new Book(this.judgements, this.state.book, areaOfSubject);
  }

  /** The same after a restart: stream time begins anew, nothing has been judged. */
  restarted(downMs: number | null): BookBench {
    const saved = revive(JSON.parse(JSON.stringify(snapshot(this.state, this.t))), -Math.max(1, downMs ?? 0));
    const bench = new BookBench(saved);
    bench.around = this.around;
    bench.book.restart(0, downMs !== null);
    return bench;
  }

  judgement(rule: RuleName): Judgement {
    return this.judgements.find((j) => j.rule.name === rule)!;
  }

  /** What holds from now on, judged at each tick on fresh data. */
  set(rule: RuleName, subject: string, level: Level): this {
    const j = this.judgement(rule);
    const i = j.find(subject) >= 0 ? j.find(subject) : j.add(subject, subject);
    const s = j.subjects[i]!;
    if (level > 0 && !j.limits.some((l) => l.level === level)) throw new Error(`${rule} has no level ${level}`);
    for (const [k, e] of s.evidence.entries()) e.up = j.limits[k]!.level <= level;
    this.#judged.add(s.key);
    this.stale.delete(s.key);
    return this;
  }

  /** The office decides about an alert at the next tick. */
  decide(alert: number, what: Decision['do'], more: Partial<Decision> = {}): this {
    const minutes = what === 'snooze' ? 60 : null;
    this.#decisions.push({ rev: 1, alert, do: what, who: 'dispatch desk', note: null, minutes, ...more });
    return this;
  }

  /** No data of the subject any more. */
  silence(rule: RuleName, subject: string): this {
    this.stale.add(`${rule} ${subject}`);
    return this;
  }

  /** One tick for each second; gives what they said. */
  tick(seconds = 1): string[] {
    const said: string[] = [];
    for (let k = 0; k < seconds; k++) {
      this.t += 1000;
      for (const j of this.judgements) {
        for (const s of j.subjects) {
          if (this.#judged.has(s.key) && !this.stale.has(s.key)) for (const e of s.evidence) e.judgedAt = this.t;
        }
      }
      const events = this.book.tick(this.t, this.around, this.#decisions);
      this.#decisions = [];
      this.refused += this.book.refused;
      this.events.push(...events);
      said.push(...events.map((e) => storyLine(e).replace(/^\S+ /, '')));
    }
    return said;
  }
}

function subjectsOf(kind: (typeof RULES)[number]['subject']): string[] {
  switch (kind) {
    case 'tire':
      return tires.map((x) => x.subject);
    case 'pair':
      return pairs.map((x) => x.subject);
    case 'wheel-end':
      return wheelEnds.map((x) => x.subject);
    case 'lamp':
      return ['lamp/main'];
    case 'bus':
      return ['bus/main'];
    case 'fault':
      return [];
    default:
      return [kind];
  }
}
