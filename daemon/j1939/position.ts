import { reader, type SignalReader } from './decode.js';
import { GROUPS } from './signals.js';

/** Latitude and longitude. */
export const POSITION_SPNS: readonly number[] = [584, 585];
/** Two decimals of a degree are about a kilometre; events round alike. */
const STEPS_PER_DEGREE = 100;
/** Of a number of 32 bits; what is above tells of errors (J1939-71). */
const MOST_RAW = 0xfaffffff;
const NOT_AVAILABLE = 0xffffffff;
const MAX_DATA = 8;

/** As the truck file says it. */
type Shown = 'exact' | 'rounded' | 'none';

interface Field {
  reader: SignalReader;
  byte: number;
  scale: number;
  offset: number;
}

const FIELDS: ReadonlyMap<number, Field[]> = new Map(
  GROUPS.flatMap(({ pgn, signals }) => {
    const found = signals.filter(({ spn }) => POSITION_SPNS.includes(spn));
    const fields = found.map(({ spn, startBit, scale, offset }) => ({
      ...{ reader: reader(spn), byte: startBit / 8, scale, offset },
    }));
    return fields.length > 0 ? [[pgn, fields] as const] : [];
  }),
);

/**
 * Takes the truck's position out of what is kept, where the truck file says so (`show.position`): none makes it "not
 * available", rounded leaves hundredths of a degree. Everything else passes as it is. Doing it twice changes nothing.
 */
export class PositionFilter {
  /** How much of it may be kept; may change with the configuration. */
  shown: Shown;
  readonly #data = new Uint8Array(MAX_DATA);
  readonly #view = new DataView(this.#data.buffer);

  constructor(shown: Shown) {
    this.shown = shown;
  }

  /** The data to keep; those given, or ones that are valid until the next call. */
  frame(id: number, data: Uint8Array, length: number): Uint8Array {
    if (this.shown === 'exact') return data;
    const fields = FIELDS.get((id >>> 8) & 0x3ffff);
    if (fields === undefined) return data;
    this.#data.fill(0xff);
    this.#data.set(data.subarray(0, Math.min(length, MAX_DATA)));
    for (const { reader, byte, scale, offset } of fields) {
      const degrees = reader.read(data, length);
      if (this.shown === 'none') this.#view.setUint32(byte, NOT_AVAILABLE, true);
      else if (!Number.isNaN(degrees)) {
        const rounded = Math.round(degrees * STEPS_PER_DEGREE) / STEPS_PER_DEGREE;
        this.#view.setUint32(byte, Math.min(MOST_RAW, Math.round((rounded - offset) / scale)), true);
      }
    }
    return this.#data;
  }

  /** The same for the pipeline's state as JSON. */
  state(json: string): string {
    if (this.shown === 'exact') return json;
    return json.replace(/"(latitude|longitude)":(\{[^{}]*\})/g, (_, name: string, sample: string) => {
      const { value, ...rest } = JSON.parse(sample) as { value: number; at: number | null };
      const kept =
        this.shown === 'none'
          ? { value: 0, ...rest, at: null }
          : { value: Math.round(value * STEPS_PER_DEGREE) / STEPS_PER_DEGREE, ...rest };
      return `"${name}":${JSON.stringify(kept)}`;
    });
  }
}
