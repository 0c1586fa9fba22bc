/**
 * Quantities as people write them ("120 psi", "2 1/4 in", "65 °F") into the one unit each dimension has inside.
 * A number without its unit is refused: 120 of what is how trucks get wrong limits.
 */

interface Unit {
  /** value inside = (written + add) × by ÷ over */
  by: number;
  over?: number;
  add?: number;
  /** Where such a number usually lies; chooses the unit of the example in an error. */
  usual?: readonly [low: number, high: number];
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
      kPa: { by: 1, usual: [200, 1500] },
      psi: { by: PSI, usual: [15, 200] },
      bar: { by: 100, usual: [0, 15] },
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
    units: { '°C': { by: 1, usual: [-40, 45] }, '°F': { by: 5, over: 9, add: -32, usual: [45, 300] } },
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
    units: { mm: { by: 1, usual: [10, 1000] }, in: { by: 25.4, usual: [0, 10] }, cm: { by: 10 } },
  },
  altitude: { words: 'an altitude', units: { m: { by: 1 }, ft: { by: 0.3048 } } },
  speed: { words: 'a speed', units: { 'km/h': { by: 1 }, mph: { by: 1.609344 } } },
  duration: {
    words: 'a duration',
    units: {
      s: { by: 1 },
      ms: { by: 1, over: 1000 },
      min: { by: 60 },
      h: { by: 3600 },
      d: { by: 86_400 },
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
 * km/h, s, bytes. Units may be written in any case.
 */
export function parseQuantity(text: string, dimension: Dimension): Parsed {
  const info: DimensionInfo = DIMENSIONS[dimension];
  const trimmed = text.trim();
  const written = split(trimmed);
  if (written === null) {
    const comma = trimmed.replace(/(\d),(\d)/, '$1.$2');
    const better = comma !== trimmed && split(comma) !== null ? comma : null;
    return complain(
      `"${text}" is not ${info.words}`,
      better !== null && findUnit(info, split(better)?.unit ?? '') !== null
        ? `write "${better}" (a point, not a comma)`
        : example(info, sample(info)),
    );
  }
  const name = findUnit(info, written.unit);
  if (name !== null) {
    const unit = info.units[name] as Unit;
    return { value: ((written.value + (unit.add ?? 0)) * unit.by) / (unit.over ?? 1) };
  }
  if (dimension === 'number') return complain(`"${text}" should be a plain number`, `write ${written.text}`);
  return complain(
    written.unit === '' ? `"${text}" has no unit` : `"${written.unit}" in "${text}" is not a unit of ${info.words}`,
    example(info, written),
  );
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

function sample(info: DimensionInfo): Written {
  const usual = Object.values(info.units)[0]?.usual;
  const value = usual === undefined ? 10 : (usual[0] + usual[1]) / 2;
  return { value, text: String(value), unit: '' };
}

function example(info: DimensionInfo, written: Written): string {
  const units = Object.keys(info.units);
  if (units[0] === '') return `write ${written.text}`;
  const fitting = Object.entries(info.units).find(
    ([, { usual }]) => usual !== undefined && written.value >= usual[0] && written.value <= usual[1],
  );
  const accepted = units.length === 1 ? units[0] : `${units.slice(0, -1).join(', ')} or ${units.at(-1)}`;
  return `write "${written.text} ${fitting?.[0] ?? units[0]}"; accepted: ${accepted}`;
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
