import type { AxleConfig, TruckConfig, UnitConfig } from '../../config/resolved.js';
import type { AxleGuess, LayoutGuess } from './layout-guess.js';
import type { SurveyReport } from './report.js';
import { targetOf } from './report-truck.js';
import { pressureOf } from './tires-seen.js';

/** Marks every place at which a person must decide. */
export const DECIDE = 'DECIDE:';

/** kPa in one psi, as in config/show.ts. */
const KPA_PER_PSI = 6.894757;

export interface DraftOptions {
  report: SurveyReport;
  guess: LayoutGuess;
  /** Of the truck file, or made for what was listened to. */
  buses: TruckConfig['buses'];
  fleet: string | null;
  truck: string | null;
  /** What was surveyed, for the first line. */
  source: string;
}

/**
 * A truck file to start from. It loads as it is, and everything that the messages do not tell is a comment with DECIDE:
 * targets and chambers are never filled in, a measured pressure least of all.
 */
export function draftOf({ report, guess, buses, fleet, truck, source }: DraftOptions): string {
  const lines = [
    `# Drafted by "axlepost survey" from ${duration(report.durationS)} of ${source}. Wherever it says DECIDE the bus cannot tell:`,
    '# a person must. Then run "axlepost check" on this file.',
    '',
    fleet === null ? `fleet: my-fleet # ${DECIDE} letters, digits, "_" and "-"` : `fleet: ${fleet}`,
    truck === null
      ? `truck: my-truck # ${DECIDE} as the office calls it; letters, digits, "_" and "-"`
      : `truck: ${truck}`,
    `vehicle: truck # ${DECIDE} truck or bus`,
    '',
    'buses:',
    ...buses.map(busLine),
    '',
    ...splitLines(guess),
    'layout:',
    ...guess.units.flatMap((unit) => unitLines(unit, guess.axles)),
    '',
    ...positionLines(guess),
    ...strokeLines(report),
    `# ${DECIDE} coldPressure is meant at this temperature; the altitude is that of the place where tires are filled.`,
    '# coldReference: 18 °C',
    `# depotAltitude: 0 m${barometerWords(report)}`,
    '',
    '# show: {pressure: psi, temperature: °F, position: exact}',
    `# ${DECIDE} the office's broker, and where history is kept.`,
    '# mqtt: {url: "mqtts://office.example:8883", confirm: office}',
    '# store: {path: axlepost.db, maxSize: 256 MB, keep: 90 d}',
  ];
  return `${lines.join('\n')}\n`;
}

/** Lines, from 1, at which a person must decide. */
export const decisions = (draft: string): number[] =>
  draft.split('\n').flatMap((line, i) => (line.includes(DECIDE) ? [i + 1] : []));

function duration(seconds: number): string {
  return seconds < 120 ? `${Math.round(seconds)} s` : `${Math.round(seconds / 60)} min`;
}

function busLine({ name, interface: link, acknowledge }: TruckConfig['buses'][number]): string {
  return `  - {name: ${name}, interface: ${link}${acknowledge ? ', acknowledge: yes' : ''}}`;
}

const SPLITS: Record<LayoutGuess['split'], string> = {
  brakes: 'The tractor ends where the stroke status of its brakes ends.',
  sender: 'The trailer is told by a sender of its own, which counts its axles anew.',
  gap: 'The trailer is taken to begin where the axle numbers leave a gap.',
  count: 'Nothing tells where the trailer begins: three axles were taken for the tractor.',
  none: 'All axles were taken for the tractor (a truck that tows nothing is all tractor).',
  nothing: 'No tire and no brake told of the axles: list them all.',
};

function splitLines({ split }: LayoutGuess): string[] {
  return [`# ${SPLITS[split]}`, `# ${DECIDE} is that so? Front to rear; subjects of alerts are named after it.`];
}

function unitLines({ unit, axles }: UnitConfig, guesses: readonly AxleGuess[]): string[] {
  const id =
    unit === 'tractor' ? [] : [`    # id: TR-1 # ${DECIDE} the number painted on it, if it stays with this truck`];
  return [
    `  ${unit}:`,
    ...id,
    '    axles:',
    ...axles.flatMap((axle, index) =>
      axleLines(axle, guesses.find((guess) => guess.unit === unit && guess.index === index)!),
    ),
  ];
}

function axleLines(axle: AxleConfig, guess: AxleGuess): string[] {
  const { name, kind, tires } = axle;
  const kinds = guess.unit === 'tractor' ? 'steer, drive, lift or tag' : 'trailer or lift';
  const doubts = guess.doubts.map((doubt) => `; ${doubt}`).join('');
  const locations = [...new Set(guess.seen.map(({ location }) => hexOf(location)))].join(', ');
  const told = locations === '' ? doubts.slice(2) : `locations ${locations}${doubts}`;
  const surely = guess.doubts.length === 0;
  return [
    `      - name: ${name}`,
    `        kind: ${kind} # ${DECIDE} ${kinds}`,
    `        tires: ${tires} # ${surely ? '' : `${DECIDE} single or dual? `}${told}`,
    `        # ${DECIDE} coldPressure, from the placard or the fleet's list. ${measuredWords(guess)}.`,
    ...ownTarget(guess),
    '        # coldPressure: … psi',
    `        # chamber: {type: …, ratedStroke: … in} # ${DECIDE} as stamped on the chamber and its tag`,
  ];
}

export const hexOf = (location: number): string => `0x${location.toString(16).toUpperCase().padStart(2, '0')}`;

const psi = (kpa: number): number => Math.round(kpa / KPA_PER_PSI);

function measuredWords({ seen }: AxleGuess): string {
  const pressures = seen.map(pressureOf).filter(({ good }) => good > 0);
  if (pressures.length === 0) return 'Nothing was measured';
  const [least, most] = rangeOf(pressures);
  const warm = seen.map(({ temperature }) => temperature).filter(({ good }) => good > 0);
  const [coldest, hottest] = rangeOf(warm);
  const at = warm.length === 0 ? '' : ` at ${Math.round(coldest)} to ${Math.round(hottest)} °C`;
  return `Measured ${Math.round(least)} to ${Math.round(most)} kPa (${psi(least)} to ${psi(most)} psi)${at}: no target`;
}

function rangeOf(list: readonly { least: number; most: number }[]): [number, number] {
  return [Math.min(...list.map(({ least }) => least)), Math.max(...list.map(({ most }) => most))];
}

function ownTarget({ seen }: AxleGuess): string[] {
  const targets = [...new Set(seen.map(targetOf).filter((kpa) => kpa !== null))];
  if (targets.length === 0) return [];
  const words = targets.map((kpa) => `${Math.round(kpa)} kPa (${psi(kpa)} psi)`).join(', ');
  return [`        # The sender itself holds ${words} for right.`];
}

function positionLines({ tirePositions, axles }: LayoutGuess): string[] {
  const lines = tirePositions.flatMap(({ bus, source, tires }) => [
    `  ${bus}/${source}:`,
    ...Object.entries(tires).map(([location, subject]) => `    "${hexOf(Number(location))}": ${subject}`),
  ]);
  const head = [
    `# ${DECIDE} these senders number tires differently from the order of the layout; let air out of one tire to be sure.`,
    'tirePositions:',
  ];
  const lost = axles.filter(({ doubts }) => doubts.some((doubt) => doubt.includes('more than four')));
  const unnamed = lost.map(({ unit, index, seen }) => {
    const odd = seen.filter(({ location }) => (location & 0xf) > 3).map(({ location }) => hexOf(location));
    return `# ${DECIDE} which tires of ${unit} axle ${index + 1} are ${odd.join(', ')}? Name them under tirePositions.`;
  });
  return [
    ...(lines.length === 0 ? [] : [...head, ...lines]),
    ...unnamed,
    ...(lines.length + unnamed.length > 0 ? [''] : []),
  ];
}

function strokeLines({ brakes, others }: SurveyReport): string[] {
  if (brakes.length > 0) return [];
  const own = others.filter(({ kind }) => kind === 'proprietary').slice(0, 3);
  const seen = own.map(({ pgn, sa }) => `0x${pgn.toString(16).toUpperCase()} from ${sa}`).join(', ');
  return [
    `# ${DECIDE} no stroke status (BSA) came. Measured stroke comes in groups of the maker's own, if at all${seen === '' ? '' : `; seen: ${seen}`}.`,
    '# signals:',
    '#   - {pgn: 0xFF21, source: 144, byte: 1, length: 8, scale: 0.5 mm, quantity: stroke, subject: tractor/2/left}',
    '',
  ];
}

function barometerWords({ groups }: SurveyReport): string {
  const reading = groups
    .flatMap(({ signals }) => signals)
    .find(({ spn, last, plausible }) => spn === 108 && last !== null && plausible);
  return reading === undefined ? '' : ` # the barometer here read ${reading.last!.toFixed(1)} kPa`;
}
