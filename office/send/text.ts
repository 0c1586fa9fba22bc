import type { OfficeFleet } from '../../config/office-resolved.js';
import type { Urgency } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import type { Measured } from '../../daemon/alerts/event.js';
import { measuredWords } from '../../daemon/alerts/words.js';
import { whatOf } from '../core/board.js';
import type { Notice, OfficeAlert } from '../core/model.js';
import { CAUTION } from './caution.js';

/** How one fleet reads times and values. */
export type FleetForm = Pick<OfficeFleet, 'timeZone' | 'show'>;

const URGENCY: Record<Urgency, { name: string; means: string }> = {
  'pull-over': { name: 'Pull over', means: 'stop as soon as it is safe' },
  'next-stop': { name: 'Next stop', means: 'check at the next safe stop' },
  plan: { name: 'Plan', means: 'repair at the next service' },
};

/** How an alert ended; a reason that is not known here is told by its name. */
const ENDINGS: Record<string, string> = {
  cleared: 'cleared: it was measured good again',
  closed: 'closed',
  gone: 'the truck lists it no more, and nothing tells why',
  'unit-gone': 'closed: the unit is not there any more',
  'position-changed': 'closed: what was measured stands at another position',
  'rule-changed': 'closed: the rule or its limits have changed',
  'sensor-replaced': 'closed: the sensor was replaced',
  'said-repaired': 'closed: somebody has said that it is repaired',
  'marked-bad': 'closed: the sensor was marked as bad',
};

/**
 * Text that came from a truck or a person, on one line: without control, format and private characters, so that it can neither begin
 * a header nor turn the line around.
 */
export const clean = (text: string, longest = 300): string =>
  text
    .slice(0, longest)
    .replace(/[\p{C}\p{Zl}\p{Zp}\s]+/gu, ' ')
    .trim();

const truckOf = ({ truck, trailer }: Notice): string =>
  trailer === null ? truck : `${truck} with ${clean(trailer, 64)}`;

/** The one line that must be enough: how urgent, which truck, where on it, what. */
export function subjectOf(notice: Notice): string {
  const { why, alert, truck } = notice;
  const urgency = URGENCY[alert.urgency].name;
  const head = { raised: urgency, untaken: `Not taken, ${urgency.toLowerCase()}`, ended: 'Over' }[why];
  return `${head}: ${truck}, ${clean(alert.place, 120)}, ${whatOf(alert.rule)}`;
}

/** @returns lines for people; '' where a paragraph ends. board: the address of the board, null where it is not known. */
export function linesOf(notice: Notice, form: FleetForm, board: string | null): string[] {
  const { why, alert, fleet, truck } = notice;
  const time = (iso: string | number): string => timeWords(iso, form.timeZone);
  const line = (name: string, words: string): string[] => (words === '' ? [] : [`${name}: ${words}`]);
  return [
    `${truckOf(notice)} (fleet ${fleet}): ${whatOf(alert.rule)}`,
    clean(alert.place, 120),
    '',
    ...(why === 'ended' ? [`Over, ${endingWords(notice.ending)}.`] : [urgencyWords(notice)]),
    ...line('How bad', badWords(alert, form, why === 'ended')),
    ...line('How fast', fastWords(alert, form)),
    ...line(
      'Since',
      `${time(alert.since)}${alert.synced ? '' : " by the truck's clock, which was not known to be right"}`,
    ),
    ...line('Forecast', why === 'ended' ? '' : forecastWords(alert, time)),
    ...line('Where', whereWords(alert, form)),
    ...line('Who has it', holderWords(alert, time)),
    ...line('Note', alert.note === null ? '' : clean(alert.note)),
    ...(why === 'ended'
      ? []
      : ['', ...line('What to do', clean(alert.advice ?? '', 800)), ...line('Limit by', clean(alert.basis ?? ''))]),
    '',
    `As of ${time(notice.ms)}.${board === null ? '' : ` The board: ${board}/#/trucks/${fleet}/${truck}`}`,
    CAUTION,
  ];
}

function urgencyWords({ why, alert }: Notice): string {
  const { name, means } = URGENCY[alert.urgency];
  return why === 'untaken' ? `Nobody has taken it yet. ${name}: ${means}.` : `${name}: ${means}.`;
}

function endingWords(ending: string | null): string {
  if (ending === null) return 'ended';
  return Object.hasOwn(ENDINGS, ending) ? ENDINGS[ending]! : `closed: ${clean(ending, 40).replaceAll('-', ' ')}`;
}

function badWords(alert: OfficeAlert, { show }: FleetForm, isOver: boolean): string {
  const doubts = [alert.unsure ? 'unsure: no fresh data of it' : '', alert.chattering ? 'it comes and goes' : ''];
  const measured = clean(measuredWords(alert.measured as Measured | null, { ...show, position: 'exact' }, isOver));
  return [measured, ...(isOver ? [] : doubts)].filter((words) => words !== '').join('; ');
}

/** From the first of the measured values that came with it to the last. */
function fastWords({ evidence }: OfficeAlert, { show }: FleetForm): string {
  const [first, last] = [evidence?.points[0], evidence?.points.at(-1)];
  if (evidence === null || first === undefined || last === undefined || first === last) return '';
  const ms = Date.parse(last[0]) - Date.parse(first[0]);
  const value = (n: number): string => clean(shown(n, evidence.unit, { ...show, position: 'exact' }), 40);
  return `${clean(evidence.quantity, 64)} from ${value(first[1])} to ${value(last[1])} in ${spanWords(ms)}`;
}

function forecastWords({ forecast }: OfficeAlert, time: (iso: string) => string): string {
  if (forecast === null) return '';
  const [at, from, to] = [time(forecast.at), time(forecast.from), time(forecast.to)];
  // "Thu 26 Nov" says it once, if it is the same for all.
  const isOneDay = [from, to].every((words) => words.slice(0, DAY_LENGTH) === at.slice(0, DAY_LENGTH));
  const short = (words: string): string => (isOneDay ? words.slice(DAY_LENGTH + 1, DAY_LENGTH + 6) : words);
  return `${clean(forecast.what, 120)} about ${at} (${short(from)} to ${short(to)})`;
}

const DAY_LENGTH = 'Thu 26 Nov'.length;

const KM_PER_MILE = 1.609344;

function whereWords({ vehicle }: OfficeAlert, { show }: FleetForm): string {
  if (vehicle === null) return '';
  const { speed, lat, lon, age } = vehicle;
  const side = (degrees: number, plus: string, minus: string): string =>
    `${Math.abs(degrees)}° ${degrees < 0 ? minus : plus}`;
  const place = lat === null || lon === null ? '' : `${side(lat, 'N', 'S')}, ${side(lon, 'E', 'W')}`;
  const kmh =
    show.pressure === 'psi' ? `${Math.round((speed ?? 0) / KM_PER_MILE)} mph` : `${Math.round(speed ?? 0)} km/h`;
  const moving = speed === null ? '' : speed < 1 ? 'standing' : `moving at ${kmh}`;
  const words = [place, moving].filter((part) => part !== '').join(', ');
  return words === '' || age === null || age < 60 ? words : `${words} (${spanWords(age * 1000)} before)`;
}

function holderWords({ taken, snoozed }: OfficeAlert, time: (iso: string) => string): string {
  if (snoozed !== null) return `${clean(snoozed.who, 64)}, who has put it off until ${time(snoozed.until)}`;
  return taken === null ? 'nobody' : `${clean(taken.who, 64)}, since ${time(taken.at)}`;
}

/** "Thu 26 Nov 08:03 CST" */
function timeWords(at: string | number, timeZone: string): string {
  const date = new Date(at);
  if (Number.isNaN(date.getTime())) return 'unknown';
  const parts = Object.fromEntries(
    zoned(timeZone)
      .formatToParts(date)
      .map(({ type, value }) => [type, value]),
  );
  return `${parts.weekday} ${parts.day} ${parts.month} ${parts.hour}:${parts.minute} ${parts.timeZoneName}`;
}

const zoned = (timeZone: string): Intl.DateTimeFormat =>
  new Intl.DateTimeFormat('en-US', {
    ...{ timeZone, weekday: 'short', day: '2-digit', month: 'short', hour: '2-digit', minute: '2-digit' },
    ...{ hourCycle: 'h23', timeZoneName: 'short' },
  } as Intl.DateTimeFormatOptions);

function spanWords(ms: number): string {
  const minutes = Math.round(ms / 60_000);
  if (minutes < 2) return `${Math.max(0, Math.round(ms / 1000))} s`;
  if (minutes < 120) return `${minutes} min`;
  return minutes < 48 * 60 ? `${Math.round(minutes / 60)} h` : `${Math.round(minutes / 1440)} days`;
}
