/**
 * A second, deliberately plain reading of the log for these tests: byte places typed in from the published J1939 layouts,
 * nothing shared with the program's signal table.
 */
export interface NaiveFrame {
  /** Milliseconds since the first whole second. */
  t: number;
  id: number;
  pgn: number;
  source: number;
  bytes: number[];
}

export function parseLog(lines: Iterable<string>): NaiveFrame[] {
  const frames: NaiveFrame[] = [];
  let zero = -1;
  for (const line of lines) {
    const match = /^\((\d+)\.(\d{3})000\) can0 ([0-9A-F]{8})#((?:[0-9A-F]{2}){8})$/.exec(line);
    if (!match) throw new Error(`not a line of candump -L with eight bytes: ${line}`);
    const seconds = Number(match[1]);
    if (zero < 0) zero = seconds;
    const id = Number.parseInt(match[3]!, 16);
    const pf = (id >>> 16) & 0xff;
    const pgn = ((id >>> 8) & 0x3ff00) | (pf >= 240 ? (id >>> 8) & 0xff : 0);
    const bytes = match[4]!.match(/../g)!.map((pair) => Number.parseInt(pair, 16));
    frames.push({ t: (seconds - zero) * 1000 + Number(match[2]), id, pgn, source: id & 0xff, bytes });
  }
  return frames;
}

const word = (b: number[], i: number) => b[i]! + b[i + 1]! * 256;
const long = (b: number[], i: number) => word(b, i) + word(b, i + 2) * 65536;

/** PGN 65268: byte 1 location, byte 2 pressure 4 kPa, bytes 3–4 temperature 1/32 °C − 273. */
export function tire1({ bytes }: NaiveFrame): { location: number; kpa: number; celsius: number } {
  return { location: bytes[0]!, kpa: bytes[1]! * 4, celsius: word(bytes, 2) / 32 - 273 };
}

/** PGN 65274: bytes 1–3 application, primary, secondary, 4 kPa each; byte 4 bits 1–2 parking brake. */
export function b1({ bytes }: NaiveFrame): {
  application: number;
  primary: number;
  secondary: number;
  parked: boolean;
} {
  return {
    application: bytes[0]! * 4,
    primary: bytes[1]! * 4,
    secondary: bytes[2]! * 4,
    parked: (bytes[3]! & 3) === 1,
  };
}

/** PGN 65198: byte 1 supply, bytes 3 and 4 service circuits, 8 kPa each; byte 7 bits 1–2 compressor. */
export function air1({ bytes }: NaiveFrame): { supply: number; circuit1: number; circuit2: number; pumping: boolean } {
  return {
    supply: bytes[0]! * 8,
    circuit1: bytes[2]! * 8,
    circuit2: bytes[3]! * 8,
    pumping: (bytes[6]! & 3) === 1,
  };
}

/** PGN 64881: twenty 3-bit codes, tractor axles 1–5 left/right, then trailer; the top four bits unused. */
export function strokes({ bytes }: NaiveFrame): { codes: number[]; unused: number } {
  const bits = [...bytes]
    .reverse()
    .map((byte) => byte.toString(2).padStart(8, '0'))
    .join('');
  const codes: number[] = [];
  for (let i = 0; i < 20; i += 1) codes.push(Number.parseInt(bits.slice(61 - 3 * i, 64 - 3 * i), 2));
  return { codes, unused: Number.parseInt(bits.slice(0, 4), 2) };
}

/** PGN 65265: byte 1 bits 3–4 parking brake, bytes 2–3 speed 1/256 km/h, byte 4 bits 5–6 brake switch. */
export function ccvs1({ bytes }: NaiveFrame): { parked: boolean; kmh: number; brakeSwitch: boolean } {
  return {
    parked: ((bytes[0]! >> 2) & 3) === 1,
    kmh: word(bytes, 1) / 256,
    brakeSwitch: ((bytes[3]! >> 4) & 3) === 1,
  };
}

/** PGN 61444: bytes 4–5 engine speed, 1/8 rpm. */
export function rpm({ bytes }: NaiveFrame): number {
  return word(bytes, 3) / 8;
}

/** PGN 65269: byte 1 air pressure 0.5 kPa, bytes 4–5 air temperature 1/32 °C − 273. */
export function amb({ bytes }: NaiveFrame): { outsideKpa: number; celsius: number } {
  return { outsideKpa: bytes[0]! / 2, celsius: word(bytes, 3) / 32 - 273 };
}

/** PGN 65267: latitude and longitude, 1e-7° − 210°. */
export function vp1({ bytes }: NaiveFrame): { lat: number; lon: number } {
  return { lat: long(bytes, 0) * 1e-7 - 210, lon: long(bytes, 4) * 1e-7 - 210 };
}

/** PGN 65217: bytes 1–4 total distance, 5 m. */
export function meters({ bytes }: NaiveFrame): number {
  return long(bytes, 0) * 5;
}

/** Slope by least squares, per minute, of [ms, value] points. */
export function perMinute(points: readonly (readonly [number, number])[]): number {
  const n = points.length;
  const mean = (pick: 0 | 1) => points.reduce((sum, p) => sum + p[pick], 0) / n;
  const [mt, mv] = [mean(0), mean(1)];
  const top = points.reduce((sum, [t, v]) => sum + (t - mt) * (v - mv), 0);
  const bottom = points.reduce((sum, [t]) => sum + (t - mt) ** 2, 0);
  return (top / bottom) * 60_000;
}
