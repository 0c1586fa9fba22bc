import { listSubjects, type Subjects } from '../../daemon/truck/subjects.js';
import type { Gathered } from '../gathered.js';

const MOST_MATES = 5;
const NONE: Subjects = { tires: [], wheelEnds: [], pairs: [] };
const KNOWN = new WeakMap<Gathered, Subjects>();

/** The truck's wheels by its file; where that is not known, those that were heard, in no more than alphabetic order. */
export function subjectsOf(gathered: Gathered): Subjects {
  let known = KNOWN.get(gathered);
  if (known === undefined) {
    known = gathered.config === null ? NONE : listSubjects(gathered.config.units);
    KNOWN.set(gathered, known);
  }
  return known;
}

/** All tires: of the layout, and without one those that were heard. */
export function tiresOf(gathered: Gathered): string[] {
  const { tires } = subjectsOf(gathered);
  if (tires.length > 0) return tires.map((tire) => tire.subject);
  const heard = new Set<string>();
  for (const key of [...gathered.minutes.keys(), ...gathered.samples.keys()]) {
    const subject = key.slice(0, key.indexOf(' '));
    if (isTire(subject)) heard.add(subject);
  }
  return [...heard].sort();
}

const isTire = (subject: string): boolean => /^[^/]+\/\d+\/(left|right)\/(single|outer|inner)$/.test(subject);

/** `tractor/2` of anything on that axle. */
export const axleOf = (subject: string): string => subject.split('/').slice(0, 2).join('/');

/** `tractor/2/left` of anything at that wheel end. */
export const wheelEndOf = (subject: string): string => subject.split('/').slice(0, 3).join('/');

/** What kind of wheel it is among those that run alike: monitors compare these with each other. */
function kindOf(gathered: Gathered, subject: string): string {
  const tire = subjectsOf(gathered).tires.find((t) => t.subject === subject);
  return tire?.peers ?? subject.split('/')[3] ?? '';
}

/**
 * Tires that run like this one, at most five: those of its axle first, then the same kind on other axles, the nearest first in
 * the order of the layout.
 */
export function matesOf(gathered: Gathered, tire: string, most = MOST_MATES): string[] {
  const all = tiresOf(gathered);
  const here = all.indexOf(tire);
  const others = all.filter((t) => t !== tire);
  const onAxle = others.filter((t) => axleOf(t) === axleOf(tire));
  const kind = kindOf(gathered, tire);
  const alike = others.filter((t) => axleOf(t) !== axleOf(tire) && kindOf(gathered, t) === kind);
  alike.sort((a, b) => Math.abs(all.indexOf(a) - here) - Math.abs(all.indexOf(b) - here));
  return [...onAxle, ...alike].slice(0, most);
}

/** All other tires of its kind, by which it is judged. */
export function peersOf(gathered: Gathered, tire: string): string[] {
  const kind = kindOf(gathered, tire);
  return tiresOf(gathered).filter((t) => t !== tire && kindOf(gathered, t) === kind);
}

/** Target of a tire, kPa gauge; null where no file gives one. */
export function targetOf(gathered: Gathered, tire: string): number | null {
  return subjectsOf(gathered).tires.find((t) => t.subject === tire)?.coldPressureKpa ?? null;
}
