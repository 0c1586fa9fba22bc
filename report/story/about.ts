import { RULE_WORDS } from '../../daemon/alerts/words.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { About, ReportData, TripLine } from '../data.js';
import type { Gathered, GatheredTrip } from '../gathered.js';
import { showOf } from './spans.js';
import { atS, lengthS } from './window.js';
import { counted, lasting } from './wording.js';

/** Who and what, and how sure. */
export function aboutOf(gathered: Gathered, version: string): About {
  const { source, runs } = gathered;
  const { pressure, temperature } = showOf(gathered);
  const isReplay = source.kind === 'replay';
  return {
    fleet: gathered.fleet,
    truck: gathered.truck,
    trailer: gathered.trailer,
    sources: isReplay ? source.logs : [source.path],
    frames: isReplay ? { all: source.frames, interesting: source.interesting } : null,
    version,
    configs: configsOf(gathered),
    synced: runs.length > 0 && runs.every((run) => run.synced),
    show: { pressure, temperature },
    fine: gathered.samples.size > 0,
  };
}

function configsOf({ runs }: Gathered): string[] {
  return [...new Set(runs.flatMap((run) => (run.config === null ? [] : [run.config])))];
}

/** What a reader must know of the data before believing them. */
export function notesOf(gathered: Gathered): string[] {
  const { runs, config, samples } = gathered;
  const notes = [...gathered.notes];
  if (runs.some((run) => !run.synced))
    notes.push(
      'The clock was not known to be right all the time: dates and times of day may be off. Lengths of time are right.',
    );
  if (samples.size === 0)
    notes.push(
      'Only minutes were kept: a line shows the last reading of each minute with its least and greatest, and what happened within a minute is not seen.',
    );
  if (config === null)
    notes.push(
      'No truck file is known: limits are told only as far as alerts name them, and targets and the layout are not known.',
    );
  const configs = configsOf(gathered);
  if (configs.length > 1)
    notes.push(
      `Judged with ${counted(configs.length, 'configuration')}, one after the other: the limits that are drawn are those of the last one.`,
    );
  return notes;
}

/** Longest stretches are what matters; a recording with more of them has a note. */
export const MOST_GAPS = 500;

export function gapsOf(gathered: Gathered): ReportData['gaps'] {
  return gathered.gaps.slice(0, MOST_GAPS).map(({ fromMs, toMs }) => ({
    fromS: atS(gathered, fromMs),
    toS: atS(gathered, toMs),
    what: `nothing heard on any bus for ${lasting(lengthS(toMs - fromMs))}`,
  }));
}

export function mutedOf(gathered: Gathered): ReportData['muted'] {
  return gathered.muted.map(({ fromMs, toMs, rule, subject, urgency, by }) => ({
    fromS: atS(gathered, fromMs),
    toS: atS(gathered, toMs),
    rule,
    subject,
    place: placeOf(subject),
    urgency,
    why: `“${RULE_WORDS[rule]}” was not told, because “${RULE_WORDS[by]}” explains it (${by})`,
  }));
}

export function notJudgedOf(gathered: Gathered): ReportData['notJudged'] {
  return gathered.notJudged.map(({ subject, who, untilMs }) => ({ subject, place: placeOf(subject), who, untilMs }));
}

export function tripsOf(gathered: Gathered): TripLine[] {
  return gathered.trips.map((trip) => tripOf(gathered, trip));
}

function tripOf(gathered: Gathered, { startMs, endMs, record }: GatheredTrip): TripLine {
  const { summary } = record;
  const air = [summary?.lowestAir.primaryKpa, summary?.lowestAir.secondaryKpa].filter((kpa) => kpa != null);
  const hottest = summary?.hottestTire ?? null;
  return {
    trip: record.trip,
    fromS: atS(gathered, startMs),
    toS: atS(gathered, endMs),
    provisional: record.provisional,
    distanceKm: record.distanceKm,
    movingS: summary?.movingS ?? null,
    applications: summary?.applications.count ?? null,
    hardestKpa: summary?.applications.hardestKpa ?? null,
    hottest: hottest === null ? null : { place: placeOf(hottest.subject), celsius: hottest.celsius },
    lowestAirKpa: air.length === 0 ? null : Math.min(...air),
    compressorShare: summary?.compressor?.share ?? null,
    alerts: record.alerts,
    gapS: record.gapS,
  };
}
