import type { TruckConfig } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import type { Change, Measured } from '../alerts/event.js';
import { measuredWords, RULE_WORDS, URGENCY_NAMES } from '../alerts/words.js';
import { STROKE_TEXT } from '../monitors/brake-state.js';
import type { StartCheck } from '../truck/start-check.js';
import type { TripSummary } from '../truck/trip-summary.js';
import { jsonOf, type Row } from './history-kinds.js';
import type { What } from './history-settings.js';
import { wheelsOf } from './history-wheels.js';
import { checkTexts, tripTexts } from './trip-timeline.js';

type Show = TruckConfig['show'];

/** One column of the table for people. The last one of a table is wrapped. */
export interface CellColumn {
  title: string;
  right?: boolean;
  /** Only where there is room: a wide terminal. */
  wide?: boolean;
  of(row: Row, show: Show): string;
}

/** Unit of each quantity that has a history. */
const UNITS: Record<string, string> = { pressure: 'kPa', temperature: '°C', speed: 'km/h' };
/** Behind a time by a clock that was not known to be right. */
export const UNSURE = '?';

const text = (row: Row, column: string): string => String(row[column] ?? '');
const number = (row: Row, column: string): number | null => {
  const value = row[column];
  return typeof value === 'number' ? value : null;
};

/** `2026-03-02 14:03`, with seconds where these count. */
function when(row: Row, column: string, length: 16 | 19 = 16): string {
  const at = row[column];
  if (typeof at !== 'string') return 'not known';
  return `${at.slice(0, length).replace('T', ' ')}${row.synced === 0 ? UNSURE : ''}`;
}

/** e.g. 45 s, 24 min, 2 h 10 min, 3 d 4 h. */
export function spanWords(seconds: number): string {
  if (seconds < 120) return `${Math.round(seconds)} s`;
  const minutes = Math.round(seconds / 60);
  if (minutes < 60) return `${minutes} min`;
  if (minutes < 24 * 60) return `${Math.floor(minutes / 60)} h ${minutes % 60} min`;
  const hours = Math.round(minutes / 60);
  return `${Math.floor(hours / 24)} d ${hours % 24} h`;
}

const value = (row: Row, column: string, unit: string, show: Show): string => {
  const si = number(row, column);
  // Speeds come in steps of some hundredths, which nobody asks for here.
  return si === null ? '-' : shown(unit === 'km/h' ? Math.round(si) : si, unit, show);
};

const ruleWords = (row: Row): string => RULE_WORDS[row.rule as keyof typeof RULE_WORDS] ?? text(row, 'rule');
const urgency = (row: Row, column: string): string =>
  URGENCY_NAMES[row[column] as keyof typeof URGENCY_NAMES] ?? text(row, column);

function lasted(row: Row): string {
  if (row.state === 'open') return 'open';
  if (typeof row.raised !== 'string' || typeof row.latest !== 'string') return '-';
  return spanWords((Date.parse(row.latest) - Date.parse(row.raised)) / 1000);
}

function alertWords(row: Row): string {
  const how = row.state === 'lost' ? ', its end was not seen' : row.how === 'cleared' ? '' : `, ${text(row, 'how')}`;
  const cause = row.cause === null ? '' : ', explained by another alert';
  return `${text(row, 'place')}: ${ruleWords(row)}${row.state === 'open' ? '' : how}${cause}`;
}

function eventWords(row: Row, show: Show): string {
  const ended = (['cleared', 'closed'] satisfies Change[]).includes(row.change as never);
  const measured = jsonOf(row.measured) as Measured | null;
  const words = typeof measured === 'string' ? '' : measuredWords(measured, show, ended);
  const reason = row.reason === null ? '' : `, ${text(row, 'reason')}`;
  return `${text(row, 'place')}: ${ruleWords(row)}${reason}${words === '' ? '' : `; ${words}`}`;
}

/** `108 to 112 psi`, or one value where they are shown alike. */
function range(row: Row, show: Show): string {
  const unit = UNITS[text(row, 'quantity')] ?? '';
  const [low, high] = [value(row, 'min', unit, show), value(row, 'max', unit, show)];
  return low.trim() === high.trim() ? low.trim() : `${low.split(' ')[0]} to ${high.trim()}`;
}

/** So many are told one by one. */
const FEW_WHEELS = 2;

/** What the brakes told: each that was not in order, of the others their number, and the greatest stroke; of few every stroke. */
function wheelWords(row: Row, show: Show): string {
  const wheels = wheelsOf(row);
  const stroke = (mm: number | null): string => (mm === null ? '' : ` ${shown(mm, 'mm', show)}`);
  if (wheels.length === 0) return 'none told';
  const words = ([subject, { code, strokeMm }]: (typeof wheels)[number]): string =>
    `${subject}${code === null ? '' : ` ${STROKE_TEXT[code] ?? `code ${code}`}`}${stroke(strokeMm)}`;
  if (wheels.length <= FEW_WHEELS) return wheels.map(words).join(', ');
  const odd = wheels.filter(([, { code }]) => code !== null && code !== 0);
  const named = odd.map(words);
  const rest = wheels.length - odd.length;
  const greatest = wheels.reduce((most, one) => ((one[1].strokeMm ?? 0) > (most[1].strokeMm ?? 0) ? one : most));
  const most = greatest[1].strokeMm === null ? [] : [`greatest stroke${stroke(greatest[1].strokeMm)} ${greatest[0]}`];
  return [...named, ...(rest > 0 ? [`${rest} ok`] : []), ...most].join(', ');
}

const speeds = (row: Row, show: Show): string => {
  const [from, to] = [value(row, 'start_kmh', 'km/h', show), value(row, 'end_kmh', 'km/h', show)];
  return `${from.split(' ')[0]} to ${to}`;
};

function limitWords(row: Row, show: Show): string {
  const [rate, limit] = [number(row, 'kpa_per_min'), number(row, 'limit_kpa_per_min')];
  const isOver = rate !== null && limit !== null && rate >= limit;
  return `${value(row, 'limit_kpa_per_min', 'kPa/min', show)}${isOver ? ', not below' : ''}`;
}

function tripWords(row: Row, show: Show): string {
  const summary = jsonOf(row.summary) as TripSummary | null;
  const record = {
    ...{ trip: Number(row.trip), provisional: row.provisional === 1, startAt: 0, endAt: 0, notJudged: [] },
    ...{ distanceKm: number(row, 'distance_km'), alerts: Number(row.alerts), gapS: Number(row.gap_s), summary },
  };
  return `${tripTexts(record, show).join('; ')}${record.provisional ? '; its end has not been seen' : ''}`;
}

function checkWords(row: Row, show: Show): string {
  const check = {
    ...{ trip: Number(row.trip), why: row.why, stoodS: row.stood_s },
    ...{ tires: jsonOf(row.tires), brakes: jsonOf(row.brakes), air: jsonOf(row.air) },
  } as StartCheck;
  return checkTexts(check, show).join('; ');
}

const tripSpan = (row: Row): string => spanWords((Number(row.end_t) - Number(row.start_t)) / 1000);

export const CELLS: Record<What, readonly CellColumn[]> = {
  alerts: [
    { title: 'raised (UTC)', of: (row) => when(row, 'raised') },
    { title: 'lasted', right: true, of: lasted },
    { title: 'worst', of: (row) => urgency(row, 'worst') },
    { title: 'rule', wide: true, of: (row) => text(row, 'rule') },
    { title: 'subject', wide: true, of: (row) => text(row, 'subject') },
    { title: 'what', of: alertWords },
  ],
  events: [
    { title: 'at (UTC)', of: (row) => when(row, 'at', 19) },
    { title: 'change', of: (row) => text(row, 'change') },
    { title: 'urgency', of: (row) => urgency(row, 'urgency') },
    { title: 'subject', wide: true, of: (row) => text(row, 'subject') },
    { title: 'what', of: eventWords },
  ],
  readings: [
    { title: 'from (UTC)', of: (row) => when(row, 'at') },
    { title: 'subject', of: (row) => text(row, 'subject') },
    { title: 'quantity', of: (row) => text(row, 'quantity') },
    { title: 'range', right: true, of: range },
    { title: 'readings', right: true, wide: true, of: (row) => text(row, 'count') },
    { title: 'last', right: true, of: (row, show) => value(row, 'last', UNITS[text(row, 'quantity')] ?? '', show) },
  ],
  applications: [
    { title: 'at (UTC)', of: (row) => when(row, 'at', 19) },
    { title: 'lasted', right: true, of: (row) => spanWords(number(row, 'duration_s') ?? 0) },
    { title: 'peak', right: true, of: (row, show) => value(row, 'peak_kpa', 'kPa', show) },
    { title: 'speed', right: true, of: speeds },
    { title: 'mean', right: true, wide: true, of: (row, show) => value(row, 'mean_kpa', 'kPa', show) },
    { title: 'air used', right: true, wide: true, of: (row, show) => value(row, 'air_used_kpa', 'kPa', show) },
    { title: 'brakes', of: wheelWords },
  ],
  'air-tests': [
    { title: 'at (UTC)', of: (row) => when(row, 'at') },
    { title: 'circuit', of: (row) => text(row, 'circuit') },
    { title: 'brakes', of: (row) => text(row, 'state') },
    { title: 'lasted', right: true, of: (row) => spanWords(number(row, 'seconds') ?? 0) },
    { title: 'fall', right: true, wide: true, of: (row, show) => value(row, 'fall_kpa', 'kPa', show) },
    { title: 'rate', right: true, of: (row, show) => value(row, 'kpa_per_min', 'kPa/min', show) },
    { title: 'limit', of: limitWords },
  ],
  'air-cycles': [
    { title: 'at (UTC)', of: (row) => when(row, 'at') },
    { title: 'pumped', right: true, of: (row) => spanWords(number(row, 'pumping_s') ?? 0) },
    { title: 'cut-in', right: true, of: (row, show) => value(row, 'cut_in_kpa', 'kPa', show) },
    { title: 'cut-out', right: true, of: (row, show) => value(row, 'cut_out_kpa', 'kPa', show) },
    { title: 'turns per 100 kPa', right: true, of: (row) => text(row, 'revolutions_per_100_kpa') || '-' },
  ],
  trips: [
    { title: 'trip', right: true, of: (row) => text(row, 'trip') },
    { title: 'began (UTC)', of: (row) => when(row, 'at') },
    { title: 'lasted', right: true, of: tripSpan },
    { title: 'what', of: tripWords },
  ],
  'start-checks': [
    { title: 'trip', right: true, of: (row) => text(row, 'trip') },
    { title: 'began (UTC)', of: (row) => when(row, 'at') },
    {
      title: 'stood',
      right: true,
      of: (row) => (number(row, 'stood_s') === null ? '-' : spanWords(Number(row.stood_s))),
    },
    { title: 'what was seen', of: checkWords },
  ],
};
