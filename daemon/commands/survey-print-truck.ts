import { fmiText } from '../j1939/dm1.js';
import { hexOf } from '../survey/draft.js';
import type { FaultCodeReport, FaultReport, LocationReport, SurveyReport, TruckFileReport } from '../survey/report.js';
import type { PrintOptions } from './survey-print.js';
import { senderName } from './survey-print.js';
import { paragraph, table } from './survey-table.js';
import { codes, count, range, share, time, times } from './survey-words.js';

/** A DM1 older than this is told with its age. s */
const OLD_S = 5;

export function tireLines(report: SurveyReport, { columns, show }: PrintOptions): string[] {
  if (report.tires.length === 0) return paragraph('No tire message came (TIRE1 65268, TIRE2 64578).', columns, 2);
  const titles = [
    { title: 'SA', right: true },
    { title: 'loc.' },
    { title: report.layout.from === 'guess' ? 'tire, if guessed right' : 'tire in the truck file' },
    { title: 'frames', right: true },
    { title: 'interval' },
    { title: 'pressure, temperature' },
  ];
  const rows = report.tires.map((tire) => [
    senderName(report, tire),
    hexOf(tire.location),
    tire.subject ?? 'no such tire',
    count(tire.frames),
    tire.medianMs === null ? 'once' : time(tire.medianMs),
    [
      tire.pressure === null ? 'no pressure' : range(tire.pressure, 'kPa', show),
      tire.temperature === null ? 'no temperature' : range(tire.temperature, '°C', show),
      ...tireNotes(tire, show),
    ].join('; '),
  ]);
  const silent = report.truckFile?.tiresUnheard ?? [];
  return [
    ...table(titles, rows, columns),
    ...(silent.length > 0 ? paragraph(`Never heard: ${silent.join(', ')}.`, columns, 2) : []),
  ];
}

function tireNotes(tire: LocationReport, show: PrintOptions['show']): string[] {
  const { from, absent, idle, leak, fault, outOfRange, target } = tire;
  return [
    ...(from === 'TIRE2' ? ['by TIRE2'] : []),
    ...(absent > 0 ? [`absent ${share(absent)}`] : []),
    ...(idle > 0 ? [`${count(idle)} idle frames`] : []),
    ...(leak > 0 ? [`calls it a leak in ${count(leak)}`] : []),
    ...(fault > 0 ? [`sensor error in ${count(fault)}`] : []),
    ...(outOfRange > 0 ? [`beyond its own limits in ${count(outOfRange)}`] : []),
    ...(target !== null
      ? [`holds ${range({ last: target, least: target, most: target }, 'kPa', show)} for right`]
      : []),
  ];
}

export function brakeLines(report: SurveyReport, { columns }: PrintOptions): string[] {
  if (report.brakes.length === 0) return paragraph('No stroke status of any brake came (BSA 64881).', columns, 2);
  const titles = [{ title: 'SA', right: true }, { title: 'brake' }, { title: 'last' }, { title: 'of all frames' }];
  const rows = report.brakes.map((brake) => [
    senderName(report, brake),
    brake.subject ?? `${brake.place}: no such axle`,
    brake.last,
    codes(brake.codes),
  ]);
  const silent = report.truckFile?.brakesUnheard ?? [];
  return [
    ...table(titles, rows, columns),
    ...(silent.length > 0 ? paragraph(`Never heard: ${silent.join(', ')}.`, columns, 2) : []),
  ];
}

export function airLines(report: SurveyReport, { columns, show }: PrintOptions): string[] {
  if (report.air.length === 0)
    return paragraph('No value of any air pressure came (AIR1 65198, B1 65274).', columns, 2);
  const titles = [{ title: 'what' }, { title: 'SPN', right: true }, { title: 'SA', right: true }, { title: 'values' }];
  const rows = report.air.map((air) => [
    air.what,
    String(air.spn),
    senderName(report, air),
    air.codes.length > 0
      ? codes(air.codes)
      : `${range(air, 'kPa', show)}${air.good < 1 ? `; good ${share(air.good)}` : ''}`,
  ]);
  return table(titles, rows, columns);
}

/** Codes of one sender that are printed; those that rules judge come first. */
const CODES = 12;

export function faultLines(report: SurveyReport, o: PrintOptions): string[] {
  const { columns } = o;
  if (report.faults.length === 0)
    return paragraph('No DM1 came. A unit need not send it while it has no active code.', columns, 2);
  const active = report.faults.filter(({ codes, lamps }) => codes.length + lamps.length > 0);
  const quiet = report.faults.filter((fault) => !active.includes(fault)).map((fault) => senderName(report, fault));
  const lines = active.flatMap((fault) => senderFaults(report, fault, o));
  if (quiet.length > 0) lines.push(...paragraph(`No active code, no lamp: SA ${quiet.join(', ')}.`, columns, 2));
  return lines;
}

function senderFaults(report: SurveyReport, fault: FaultReport, { columns, all }: PrintOptions): string[] {
  const { codes, more, ageS } = fault;
  const age = ageS > OLD_S ? `, last told ${Math.round(ageS)} s before the end` : '';
  const lamps = fault.lamps.length === 0 ? 'no lamp' : `lamps: ${fault.lamps.join(', ')}`;
  const ours = codes.filter(({ area }) => area !== null);
  const sorted = [...ours, ...codes.filter(({ area }) => area === null)];
  const told = all ? sorted : sorted.slice(0, Math.max(CODES, ours.length));
  const left = codes.length + more - told.length;
  return [
    ...paragraph(`SA ${senderName(report, fault)}: ${codes.length + more} active, ${lamps}${age}`, columns, 4, 2),
    ...told.flatMap((code) => paragraph(codeWords(code), columns, 6, 4)),
    ...(left > 0 ? [`    and ${left} more${all ? '' : ' (--all prints them)'}`] : []),
  ];
}

function codeWords({ spn, fmi, count: occurrences, text, oldLayout }: FaultCodeReport): string {
  const often = occurrences === null || occurrences === 0 ? '' : `, occurred ${times(occurrences)}`;
  const doubt = oldLayout ? ' (in an older layout: the SPN is not sure)' : '';
  return `SPN ${spn}${text === null ? '' : ` ${text}`}, FMI ${fmi} ${fmiText(fmi)}${often}${doubt}`;
}

type Rules = SurveyReport['rules'];

/** Rules that miss the same things, together. */
function alike(rules: Rules): [names: string, missing: Rules[number]['missing']][] {
  const groups = new Map<string, Rules>();
  for (const rule of rules) {
    const key = JSON.stringify(rule.missing);
    groups.set(key, [...(groups.get(key) ?? []), rule]);
  }
  return [...groups.values()].map((group) => [group.map(({ rule }) => rule).join(', '), group[0]!.missing]);
}

export function ruleLines(report: SurveyReport, { columns }: PrintOptions): string[] {
  const of = (...verdicts: string[]) => report.rules.filter(({ judged }) => verdicts.includes(judged));
  const lines: string[] = [];
  const names = (list: Rules): string => list.map(({ rule }) => rule).join(', ');
  const whole = of('yes');
  if (whole.length > 0) lines.push(...paragraph(`Can be judged: ${names(whole)}.`, columns, 4, 2));
  for (const { rule, without } of of('less')) {
    lines.push(...paragraph(`Can be judged, but not in full: ${rule}`, columns, 4, 2));
    for (const { need, why, effect } of without)
      lines.push(...paragraph(`- ${need}: ${why}; so ${effect}`, columns, 6, 4));
  }
  for (const [rules, missing] of alike(of('no'))) {
    lines.push(...paragraph(`CANNOT be judged: ${rules}`, columns, 4, 2));
    for (const { need, why } of missing) lines.push(...paragraph(`- ${need}: ${why}`, columns, 6, 4));
  }
  const off = of('off');
  if (off.length > 0) lines.push(...paragraph(`Off in the truck file: ${names(off)}.`, columns, 4, 2));
  const later = of('later');
  if (later.length > 0) lines.push(...paragraph(`Not judged by this version: ${names(later)}.`, columns, 4, 2));
  const asks = [...new Set(report.rules.flatMap((rule) => rule.asks))];
  if (asks.length > 0)
    lines.push(...paragraph(`Some of them need the truck file to say: ${asks.join(', ')}.`, columns, 4, 2));
  return lines;
}

const FILE_WORDS: readonly [key: keyof TruckFileReport, words: string][] = [
  ['buses', 'buses of which no frame came'],
  ['tiresUnheard', 'tires never heard'],
  ['tiresWithoutPressure', 'tires heard, but never with a pressure'],
  ['brakesUnheard', 'brakes without stroke status or measured stroke'],
  ['signalsUnheard', 'signals never heard'],
  ['sendersUnheard', 'senders named in it that sent no tire message'],
  ['axlesWithoutColdPressure', 'axles without coldPressure'],
  ['axlesWithoutChamber', 'axles without chamber'],
];

export function truckFileLines({ truckFile }: SurveyReport, { columns }: PrintOptions): string[] {
  if (truckFile === null) return [];
  const lines = FILE_WORDS.flatMap(([key, words]) => {
    const list = truckFile[key];
    return list.length === 0 ? [] : paragraph(`${words}: ${list.join(', ')}`, columns, 4, 2);
  });
  const strange = truckFile.strangeLocations.map(
    ({ bus, sa, location, frames }) => `${hexOf(location)} from ${bus}/${sa} (${count(frames)} frames)`,
  );
  if (strange.length > 0)
    lines.push(...paragraph(`tire locations that it does not have: ${strange.join(', ')}`, columns, 4, 2));
  const brakes = truckFile.strangeBrakes.map(({ bus, sa, place }) => `${place} from ${bus}/${sa}`);
  if (brakes.length > 0) lines.push(...paragraph(`brakes that it does not have: ${brakes.join(', ')}`, columns, 4, 2));
  return lines.length > 0 ? lines : ['  Everything that it expects is there, and nothing else.'];
}
