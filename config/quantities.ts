/**
 * Quantities as people write them ("120 psi", "2 1/4 in", "65 °F") into the one unit each dimension has inside.
 * A number without its unit is refused: 120 of what is how trucks get wrong limits.
 */

interface Unit {
  /** value inside = (written + add) × by ÷ over */
  by: number;
  over?: number;
  add?: number;
}

/** What is plausible, in the inner unit. */
export interface Range {
  low: number;
  high: number;
}

interface DimensionInfo {
  words: string;
  /** First: the unit inside. */
  units: Record<string, Unit>;
  /** Other spellings. */
  also?: Record<string, string>;
}

const PSI = 6.894757;
const DEGREES = { C: '°C', F: '°F', ºC: '°C', ºF: '°F' };

const DIMENSIONS = {
  pressure: {
    words: 'a pressure',
    units: {
      kPa: { by: 1 },
      psi: { by: PSI },
      bar: { by: 100 },
    },
  },
  pressureRate: {
    words: 'a pressure per time',
    units: { 'kPa/min': { by: 1 }, 'psi/min': { by: PSI }, 'Pa/s': { by: 60, over: 1000 } },
  },
  pressurePerDay: {
    words: 'a pressure per day',
    units: { 'kPa/day': { by: 1 }, 'psi/day': { by: PSI } },
    also: { 'kPa/d': 'kPa/day', 'psi/d': 'psi/day' },
  },
  temperature: {
    words: 'a temperature',
    units: { '°C': { by: 1 }, '°F': { by: 5, over: 9, add: -32 } },
    also: DEGREES,
  },
  temperatureDifference: {
    words: 'a difference of temperatures',
    units: { 'Δ°C': { by: 1 }, K: { by: 1 }, 'Δ°F': { by: 5, over: 9 } },
    also: { ΔC: 'Δ°C', ΔF: 'Δ°F' },
  },
  share: { words: 'a share', units: { '%': { by: 1, over: 100 } } },
  length: {
    words: 'a length',
    units: { mm: { by: 1 }, in: { by: 25.4 }, cm: { by: 10 } },
  },
  altitude: { words: 'an altitude', units: { m: { by: 1 }, ft: { by: 0.3048 } } },
  speed: { words: 'a speed', units: { 'km/h': { by: 1 }, mph: { by: 1.609344 } } },
  engineSpeed: { words: 'an engine speed', units: { rpm: { by: 1 } } },
  duration: {
    words: 'a duration',
    units: {
      s: { by: 1 },
      ms: { by: 1, over: 1000 },
      min: { by: 60 },
      d: { by: 86_400 },
      h: { by: 3600 },
    },
    also: { day: 'd', days: 'd' },
  },
  size: {
    words: 'a size',
    units: {
      MB: { by: 1e6 },
      kB: { by: 1e3 },
      GB: { by: 1e9 },
      kiB: { by: 1024 },
      MiB: { by: 1024 ** 2 },
      GiB: { by: 1024 ** 3 },
    },
  },
  number: { words: 'a plain number', units: { '': { by: 1 } } },
} as const satisfies Record<string, DimensionInfo>;

export type Dimension = keyof typeof DIMENSIONS;

/** What is wrong with a quantity, and what to write instead. */
export interface Complaint {
  text: string;
  hint: string;
}

export type Parsed<T = number> = { value: T; complaint?: never } | { value?: never; complaint: Complaint };

const NUMBER = /^([+-]?)(?:(\d+)\s+)?(?:(\d+)\/(\d+)|(\d+(?:\.\d+)?|\.\d+)(?:[eE]([+-]?\d+))?)(?![\d.,/])\s*/;

interface Written {
  value: number;
  /** The number as it stands there. */
  text: string;
  unit: string;
}

function split(text: string): Written | null {
  const match = NUMBER.exec(text);
  if (match === null) return null;
  const [all, sign, whole, over, under, decimal, exponent] = match;
  if (whole !== undefined && over === undefined) return null;
  const size =
    over === undefined ? Number(`${decimal}e${exponent ?? 0}`) : Number(whole ?? 0) + Number(over) / Number(under);
  if (!Number.isFinite(size)) return null;
  return { value: sign === '-' ? -size : size, text: all.trim(), unit: text.slice(all.length).trim() };
}

/**
 * A written quantity in the inner unit of its dimension: kPa gauge, kPa/min, kPa/day, °C, K, a fraction of 1, mm, m,
 * km/h, s, bytes. Units may be written in any case. With a range, values outside are refused, and examples lie inside.
 */
export function parseQuantity(text: string, dimension: Dimension, range: Range = ANY): Parsed {
  const info: DimensionInfo = DIMENSIONS[dimension];
  const trimmed = text.trim();
  const written = split(trimmed);
  if (written === null) return complain(`"${text}" is not ${info.words}`, repair(info, trimmed, range));
  const name = findUnit(info, written.unit);
  if (name !== null) {
    const value = inside(info, written.value, name);
    if (value >= range.low && value <= range.high) return { value };
    const [low, high] = [writeQuantity(range.low, dimension), writeQuantity(range.high, dimension)];
    const other = fitting(info, written.value, range);
    const meant = other === undefined ? '' : `; did you mean "${written.text} ${other}"?`;
    return complain(`"${text}" is out of range`, `possible: ${low} to ${high}${meant}`);
  }
  if (dimension === 'number') return complain(`"${text}" should be a plain number`, `write ${written.text}`);
  return complain(
    written.unit === '' ? `"${text}" has no unit` : `"${written.unit}" in "${text}" is not a unit of ${info.words}`,
    example(info, written, range),
  );
}

const ANY: Range = { low: Number.NEGATIVE_INFINITY, high: Number.POSITIVE_INFINITY };

function inside(info: DimensionInfo, value: number, unit: string): number {
  const { by, over = 1, add = 0 } = info.units[unit]!;
  return ((value + add) * by) / over;
}

/** The first unit with which a number lies in a range. */
function fitting(info: DimensionInfo, value: number, { low, high }: Range): string | undefined {
  return Object.keys(info.units).find((unit) => inside(info, value, unit) >= low && inside(info, value, unit) <= high);
}

function repair(info: DimensionInfo, text: string, range: Range): string {
  const point = text.replace(/(\d),(\d)/, '$1.$2');
  const unit = split(point)?.unit;
  if (point !== text && unit !== undefined && findUnit(info, unit) !== null) {
    return `write "${point}" (a point, not a comma)`;
  }
  const middle = (range.low + range.high) / 2;
  const value = Number.isFinite(middle) ? Number(middle.toPrecision(2)) : 10;
  return example(info, { value, text: String(value), unit: '' }, range);
}

/** As parseQuantity for text whose unit alone says what it is. For the defaults, where every unit is the inner one. */
export function parseAnyQuantity(text: string): Parsed<{ dimension: Dimension; value: number }> {
  const unit = split(text.trim())?.unit;
  for (const dimension of Object.keys(DIMENSIONS) as Dimension[]) {
    if (unit === undefined || findUnit(DIMENSIONS[dimension], unit) === null) continue;
    const parsed = parseQuantity(text, dimension);
    if (parsed.complaint === undefined) return { value: { dimension, value: parsed.value } };
  }
  return complain(`"${text}" is no quantity that is known here`, 'write a number and its unit, for example "10 kPa"');
}

/** Every spelling of the units of a dimension; the first is the one inside. */
export function unitsOf(dimension: Dimension): string[] {
  const info: DimensionInfo = DIMENSIONS[dimension];
  return [...Object.keys(info.units), ...Object.keys(info.also ?? {})];
}

/** A value of a dimension in its inner unit, as it may be written in a truck file. */
export function writeQuantity(value: number, dimension: Dimension): string {
  const shown = dimension === 'share' ? value * 100 : value;
  const unit = Object.keys(DIMENSIONS[dimension].units)[0];
  return `${Number(shown.toPrecision(6))} ${unit}`.trim();
}

function findUnit(info: DimensionInfo, written: string): string | null {
  const also = info.also ?? {};
  for (const same of [
    (a: string, b: string) => a === b,
    (a: string, b: string) => a.toLowerCase() === b.toLowerCase(),
  ]) {
    const name = Object.keys(info.units).find((unit) => same(unit, written));
    if (name !== undefined) return name;
    const other = Object.keys(also).find((spelling) => same(spelling, written));
    if (other !== undefined) return also[other] as string;
  }
  return null;
}

function example(info: DimensionInfo, written: Written, range: Range): string {
  const units = Object.keys(info.units);
  if (units[0] === '') return `write a number, for example ${written.text}`;
  const unit = fitting(info, written.value, range) ?? units[0];
  const accepted = units.length === 1 ? units[0] : `${units.slice(0, -1).join(', ')} or ${units.at(-1)}`;
  return `write "${written.text} ${unit}"; accepted: ${accepted}`;
}

function complain(text: string, hint: string): { complaint: Complaint } {
  return { complaint: { text, hint } };
}

const COUNT = /^(\d+)\s+of\s+(\d+)$/;

/** "2 of 3": n of the last m. m at most 20. */
export function parseOf(text: string): Parsed<{ n: number; m: number }> {
  const match = COUNT.exec(text.trim());
  const [n, m] = [Number(match?.[1]), Number(match?.[2])];
  if (match === null || n < 1 || n > m || m > 20) {
    return complain(`"${text}" is not a count of the last ones`, 'write for example "2 of 3" (at most 20)');
  }
  return { value: { n, m } };
}

/** Whole numbers, decimal or hexadecimal: "65298", "0xFF12". */
export function parseWhole(text: string, low: number, high: number): Parsed {
  const trimmed = text.trim();
  const value = /^(0[xX][0-9a-fA-F]+|\d+)$/.test(trimmed) ? Number(trimmed) : Number.NaN;
  if (value >= low && value <= high) return { value };
  return complain(`"${text}" is not a whole number from ${low} to ${high}`, `write a number from ${low} to ${high}`);
}

/** A location byte as SPN 929 has it: hexadecimal only, because its two digits are axle and position. */
export function parseLocation(text: string): Parsed {
  const trimmed = text.trim();
  if (/^0[xX][0-9a-fA-F]{1,2}$/.test(trimmed)) {
    const value = Number(trimmed);
    if (value !== 0xff) return { value };
    return complain('location 0xFF means "not available" on the bus', 'write the location that the sender gives');
  }
  const decimal = /^\d{1,3}$/.test(trimmed) && Number(trimmed) < 255 ? Number(trimmed) : 16;
  const hex = `0x${decimal.toString(16).padStart(2, '0').toUpperCase()}`;
  return complain(`"${text}" is not a location byte`, `write two hexadecimal digits, axle then position: "${hex}"`);
}
