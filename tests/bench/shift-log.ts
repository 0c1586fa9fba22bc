import { createReadStream, createWriteStream, readFileSync, writeFileSync } from 'node:fs';
import { type FileHandle, open } from 'node:fs/promises';
import { join } from 'node:path';
import { pipeline } from 'node:stream/promises';
import { createGzip } from 'node:zlib';
import { loadTruckFile } from '../../config/load.js';
import { packageRoot } from '../../config/package.js';
import { Pipeline } from '../../daemon/pipeline.js';
import { parseScenario, type Scenario, Simulation, truckFileOf } from '../../simulator/index.js';
import { Random } from '../../simulator/random.js';
import { type Filler, fillerOf } from './filler.js';

export interface ShiftLog {
  /** The whole of it as text, packed, and packed in pieces of five minutes as `run` records them. */
  plain: string;
  gz: string;
  pieces: string[];
  truckFile: string;
  frames: number;
  /** Of them, frames that the truck of the scenario sent: those that are of interest, and two groups that are not. */
  ofTheTruck: number;
  hours: number;
  filler: string;
}

/** In ten hours, less the breaks. */
export const FULL_FRAMES = 36_000_000;
const SCENARIO = 'tests/bench/ten-hours.yaml';
/** Of a frame with eight bytes at 250 kbit/s: 131 bits and some stuff bits. µs */
const FRAME_US = 540;
const PIECE_S = 300;
/** What recorders usually pack with. */
const GZIP_LEVEL = 6;
/** Of how stamps lie within their millisecond. */
const SEED = 11;

/**
 * Writes a shift as a busy 250 kbit/s bus would carry it: what the truck of the scenario sends, with its faults, and between it
 * as many frames of others as it takes to make `frames` in ten hours; none while the ignition is off. Fewer frames are a
 * shorter shift.
 */
export async function writeShiftLog(folder: string, frames: number): Promise<ShiftLog> {
  const scenario = parseScenario(readFileSync(join(packageRoot(), SCENARIO), 'utf8'), SCENARIO);
  const truckFile = join(folder, 'truck.yaml');
  writeFileSync(truckFile, truckFileOf(scenario));
  const { config } = loadTruckFile(truckFile);
  if (config === undefined) throw new Error(`${truckFile} of ${SCENARIO} cannot be loaded`);
  const filler = fillerOf(new Pipeline(config).interest);
  const plain = join(folder, 'shift.log');
  const file = await open(plain, 'w');
  try {
    const written = await writeBus(file, scenario, filler, frames);
    const gz = join(folder, 'shift.log.gz');
    await packed(plain, gz, 0, Number.POSITIVE_INFINITY);
    const pieces: string[] = [];
    for (const [i, from] of written.pieceStarts.entries()) {
      const piece = join(folder, `shift-${String(i).padStart(3, '0')}.log.gz`);
      await packed(plain, piece, from, (written.pieceStarts[i + 1] ?? Number.POSITIVE_INFINITY) - 1);
      pieces.push(piece);
    }
    return { plain, gz, pieces, truckFile, filler: filler.source, ...written };
  } finally {
    await file.close();
  }
}

const packed = (from: string, to: string, start: number, end: number): Promise<void> =>
  pipeline(createReadStream(from, { start, end }), createGzip({ level: GZIP_LEVEL }), createWriteStream(to));

interface Written {
  frames: number;
  ofTheTruck: number;
  hours: number;
  /** Bytes at which pieces of five minutes begin. */
  pieceStarts: number[];
}

async function writeBus(file: FileHandle, scenario: Scenario, filler: Filler, frames: number): Promise<Written> {
  const simulation = new Simulation(scenario);
  const random = new Random(SEED);
  const perSecond = FULL_FRAMES / awakeSeconds(scenario);
  const lines = new BusLines(Date.parse(scenario.start) / 1000, scenario.interface);
  const pieceStarts: number[] = [];
  let [bytes, wanted, ofTheTruck, ofOthers] = [0, 0, 0, 0];
  while (simulation.t < simulation.endMs && lines.frames < frames) {
    const own: { us: number; word: Buffer }[] = [];
    simulation.advance(simulation.t + 1000, (t, id, data) =>
      own.push({ us: t * 1000 + random.whole(0, 999), word: wordOf(id, data) }),
    );
    if (own.length === 0) continue;
    const fromUs = Math.floor(own[0]!.us / 1e6) * 1e6;
    if (fromUs >= pieceStarts.length * PIECE_S * 1e6) pieceStarts.push(bytes);
    wanted += perSecond;
    ofTheTruck += own.length;
    const others = Math.max(0, Math.min(Math.round(wanted), frames) - lines.frames - own.length);
    const usOf = (n: number): number => fromUs + Math.floor((n * 1e6) / others);
    for (let i = 0, n = 0; i < own.length || n < others; ) {
      if (i < own.length && (n === others || own[i]!.us <= usOf(n))) lines.put(own[i]!.us, own[i++]!.word);
      else lines.put(usOf(n++) + random.whole(0, FRAME_US), filler.frames[ofOthers++ % filler.frames.length]!);
    }
    const text = lines.take();
    bytes += text.length;
    await file.write(text);
  }
  return { frames: lines.frames, ofTheTruck, hours: simulation.t / 3_600_000, pieceStarts };
}

/** Seconds in which the ignition is on. */
function awakeSeconds({ drive }: Scenario): number {
  const begins = drive.map((_, i) => drive[i - 1]?.until ?? 0);
  return drive.reduce((sum, { mode, until }, i) => sum + (mode === 'off' ? 0 : until - begins[i]!), 0);
}

const wordOf = (id: number, data: Uint8Array): Buffer =>
  Buffer.from(`${id.toString(16).padStart(8, '0')}#${Buffer.from(data).toString('hex')}\n`.toUpperCase(), 'latin1');

/** Lines of one bus, where one frame ends before the next begins. */
class BusLines {
  frames = 0;
  private readonly bytes = Buffer.allocUnsafe(2 ** 20);
  private length = 0;
  private freeUs = 0;
  private readonly startS: number;
  private readonly name: string;

  constructor(startS: number, name: string) {
    this.startS = startS;
    this.name = name;
  }

  /** @param us from the start: when it wants the bus. A second has room for all that it is given. */
  put(us: number, word: Buffer): void {
    const at = Math.max(us, this.freeUs);
    this.freeUs = at + FRAME_US;
    const seconds = this.startS + Math.floor(at / 1e6);
    const stamp = `(${seconds}.${String(at % 1e6).padStart(6, '0')}) ${this.name} `;
    this.length += this.bytes.write(stamp, this.length, 'latin1');
    this.length += word.copy(this.bytes, this.length);
    this.frames++;
  }

  /** The lines since the last call; valid until the next one is put. */
  take(): Buffer {
    const text = this.bytes.subarray(0, this.length);
    this.length = 0;
    return text;
  }
}
