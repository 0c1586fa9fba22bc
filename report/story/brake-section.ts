import { strokeExceeds, strokeLimit } from '../../config/chambers.js';
import type { AxleConfig, TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { BrakeSection } from '../data.js';
import type { Gathered } from '../gathered.js';
import { type BrakeApplication, brakeApplications } from './brake-applications.js';
import { bandOf, qualifyingKpa } from './brake-results.js';
import { atS, showOf, subjectsOf } from './kit.js';

/** Applications of a long week; a report with more could hardly be drawn. */
export const MOST_APPLICATIONS = 4_000;

type Wheel = BrakeSection['wheels'][number];
interface End {
  subject: string;
  chamber: AxleConfig['chamber'];
}

/** Every brake application with what each wheel end told in it; null: the brakes were not pressed. */
export function brakeSection(gathered: Gathered): BrakeSection | null {
  const all = brakeApplications(gathered);
  if (all.length === 0) return null;
  const ends = endsOf(gathered, all);
  const kept = keep(all, ends);
  return {
    applications: columnsOf(gathered, kept),
    wheels: ends.map((end) => wheelOf(gathered, end, kept)),
    band: bandOf(gathered),
    qualifyingKpa: qualifyingKpa(gathered.config?.rules),
    leftOut: all.length - kept.length,
  };
}

/** In layout order; those that only the records know (another trailer, no configuration) stand behind, in the order of their names. */
function endsOf(gathered: Gathered, all: readonly BrakeApplication[]): End[] {
  const told = new Set(all.flatMap(({ values }) => Object.keys(values.wheels)));
  if (told.size === 0) return [];
  const known: End[] = subjectsOf(gathered).wheelEnds;
  const names = new Set(known.map(({ subject }) => subject));
  const others = [...told].filter((subject) => !names.has(subject)).sort(byUnit);
  return [...known, ...others.map((subject) => ({ subject, chamber: null }))];
}

const UNITS = ['tractor', 'dolly', 'trailer', 'trailer-2'];
function byUnit(a: string, b: string): number {
  const key = (subject: string): string => {
    const [unit = '', axle = '', side = ''] = subject.split('/');
    const place = UNITS.indexOf(unit);
    return `${place < 0 ? 9 : place} ${unit} ${axle.padStart(3, '0')} ${side}`;
  };
  return key(a) < key(b) ? -1 : 1;
}

/** Those in which a wheel end told something wrong come first, then those that brakes are judged by, then the harder ones. */
function keep(all: BrakeApplication[], ends: readonly End[]): BrakeApplication[] {
  if (all.length <= MOST_APPLICATIONS) return all;
  const limits = new Map(
    ends.map(({ subject, chamber }) => [subject, chamber === null ? Infinity : strokeLimit(chamber).limitMm]),
  );
  const isWrong = ({ values }: BrakeApplication): boolean =>
    Object.entries(values.wheels).some(
      ([subject, { code, strokeMm }]) =>
        (code ?? 0) > 0 || strokeExceeds(limits.get(subject) ?? Infinity, strokeMm ?? 0),
    );
  const ranked = all.map((x, i) => ({
    x,
    i,
    rank: (isWrong(x) ? 2 : 0) + (x.values.qualifying ? 1 : 0),
    kpa: x.values.peakKpa ?? -1,
  }));
  ranked.sort((a, b) => b.rank - a.rank || b.kpa - a.kpa || b.x.values.durationS - a.x.values.durationS || a.i - b.i);
  return ranked
    .slice(0, MOST_APPLICATIONS)
    .sort((a, b) => a.i - b.i)
    .map(({ x }) => x);
}

const tenth = (value: number | null): number | null => (value === null ? null : Math.round(value * 10) / 10);

function columnsOf(gathered: Gathered, kept: readonly BrakeApplication[]): BrakeSection['applications'] {
  const column = <T>(of: (x: BrakeApplication['values']) => T): T[] => kept.map(({ values }) => of(values));
  return {
    s: kept.map(({ startMs }) => atS(gathered, startMs)),
    durationS: column((v) => Math.round(v.durationS * 10) / 10),
    peakKpa: column((v) => tenth(v.peakKpa)),
    meanKpa: column((v) => tenth(v.meanKpa)),
    startKmh: column((v) => tenth(v.startKmh)),
    endKmh: column((v) => tenth(v.endKmh)),
    airUsedKpa: column((v) => tenth(v.airUsedKpa)),
    qualifying: column((v) => (v.qualifying ? 1 : 0)),
    from: column((v) => v.from),
  };
}

function wheelOf(gathered: Gathered, { subject, chamber }: End, kept: readonly BrakeApplication[]): Wheel {
  const limit = chamber === null ? null : strokeLimit(chamber);
  const alerts = gathered.events.filter(({ draft }) => draft.subject === subject).map(({ alert }) => alert);
  return {
    subject,
    place: placeOf(subject),
    chamber: chamber === null ? null : chamberWords(chamber, showOf(gathered)),
    limitMm: limit?.limitMm ?? null,
    limitBasis: limit?.basis ?? null,
    strokeMm: kept.map(({ values }) => tenth(values.wheels[subject]?.strokeMm ?? null)),
    code: kept.map(({ values }) => values.wheels[subject]?.code ?? null),
    alerts: [...new Set(alerts)],
  };
}

function chamberWords({ type, ratedStrokeMm }: NonNullable<End['chamber']>, show: TruckConfig['show']): string {
  return ratedStrokeMm === null ? `type ${type}` : `type ${type}, rated stroke ${shown(ratedStrokeMm, 'mm', show)}`;
}
