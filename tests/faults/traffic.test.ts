import { describe, expect, test } from 'vitest';
import { LogParser } from '../../adapters/can/log-parser.js';
import type { TickEffects } from '../../daemon/effects.js';
import { makeId, pgnOf } from '../../daemon/j1939/identifier.js';
import { MAX_SESSIONS } from '../../daemon/j1939/transport.js';
import { broadcast } from '../../simulator/encode.js';
import { drive, troubled } from '../support/drive.js';
import { type Frame, Rig } from '../support/rig.js';
import { truckOf } from '../support/truck-file.js';
import { FaultRow, type Round } from './support/row.js';

const FRAMES = 20_000;
const STATE_BYTES = 400_000;
const TP_CM = 60416;
const TP_DT = 60160;
/** 2026-03-02T13:00:00Z in seconds. */
const WALL_S = 1_772_456_400;
const CONTROLS = [16, 17, 19, 32, 255, 0, 200];
const SIZES = [0, 8, 9, 14, 255, 1785, 1786, 65_535];

const base: readonly Frame[] = [...drive(0, 2400, troubled)];

function bytes(round: Round, length: number): Uint8Array {
  return Uint8Array.from({ length }, () => round.below(256));
}

const sourceOf = ({ below }: Round): number => below(254);

/** A frame of the transport protocol that may make no sense. */
function transfer(round: Round, t: number): Frame[] {
  const { below } = round;
  const source = sourceOf(round);
  const destination = below(3) === 0 ? 255 : below(254);
  const of = (pgn: number, data: Uint8Array): Frame => ({
    t,
    id: makeId({ priority: 7, pgn, source, destination }),
    data,
  });
  const size = below(2) === 0 ? SIZES[below(SIZES.length)]! : below(1800);
  const packets = below(4) === 0 ? below(256) : Math.ceil(size / 7) & 0xff;
  const pgn = below(2) === 0 ? 65226 : below(2 ** 18);
  const control = Uint8Array.from([
    CONTROLS[below(CONTROLS.length)]!,
    size & 0xff,
    size >> 8,
    packets,
    0xff,
    pgn & 0xff,
    (pgn >> 8) & 0xff,
    pgn >> 16,
  ]);
  switch (below(5)) {
    case 0:
      return [of(TP_CM, control.subarray(0, below(4) === 0 ? below(9) : 8))];
    case 1:
      // Endless: packets without an announcement, or past the last one.
      return Array.from({ length: below(40) }, (_, k) =>
        of(TP_DT, Uint8Array.from([(k + below(2)) & 0xff, ...bytes(round, below(8))])),
      );
    case 2: {
      // A whole one, cut anywhere.
      const whole = broadcast(t, source, below(2) === 0 ? 65226 : 65254, bytes(round, 9 + below(200)));
      return whole.slice(0, 1 + below(whole.length));
    }
    case 3:
      return [of(TP_CM, control), ...broadcast(t, source, 65226, bytes(round, 30)).slice(1)];
    default:
      return broadcast(t, source, 65226, bytes(round, 9 + below(1776)));
  }
}

/** One frame of the truck, as a broken unit may send it. */
function mutated(round: Round, frame: Frame): Frame[] {
  const { below } = round;
  const data = Uint8Array.from(frame.data);
  switch (below(9)) {
    case 0:
      data[below(data.length)]! ^= 1 << below(8);
      return [{ ...frame, data }];
    case 1:
      return [{ ...frame, data: data.subarray(0, below(9)) }];
    case 2:
      return [{ ...frame, data: bytes(round, 8) }];
    case 3:
      return [{ ...frame, id: (frame.id & ~0xff) | sourceOf(round) }];
    case 4:
      return [{ ...frame, id: below(2 ** 29), data: bytes(round, below(9)) }];
    case 5:
      return [frame, frame];
    case 6:
      return [];
    case 7:
      data.fill([0xff, 0xfe, 0xfb, 0x00][below(4)]!);
      return [{ ...frame, data }];
    default:
      return transfer(round, frame.t);
  }
}

/** Twenty thousand frames from somewhere in forty minutes of trouble, a third of them broken. */
function traffic(round: Round): Frame[] {
  const frames: Frame[] = [];
  const from = round.below(base.length - 8_000);
  const startT = base[from]!.t;
  for (let i = from; frames.length < FRAMES; i++) {
    const lap = Math.floor(i / base.length);
    const frame = base[i % base.length]!;
    const moved = { ...frame, t: frame.t - startT + lap * 2_400_000 };
    frames.push(...(round.below(3) === 0 ? mutated(round, moved) : [moved]));
  }
  return frames.sort((a, b) => a.t - b.t).slice(0, FRAMES);
}

/** Every number anywhere in it is one. */
function expectFinite(value: unknown, path = ''): void {
  if (typeof value === 'number') {
    if (!Number.isFinite(value)) throw new Error(`${path} is ${value}`);
  } else if (Array.isArray(value)) {
    for (const [i, each] of value.entries()) expectFinite(each, `${path}[${i}]`);
  } else if (typeof value === 'object' && value !== null) {
    for (const [key, each] of Object.entries(value)) expectFinite(each, `${path}.${key}`);
  }
}

const hex = (data: Uint8Array): string => Buffer.from(data).toString('hex').toUpperCase();
function logOf(frames: readonly Frame[]): Buffer {
  const lines = frames.map(({ t, id, data }) => {
    const stamp = `${WALL_S + Math.floor(t / 1000)}.${String(t % 1000).padStart(3, '0')}000`;
    return `(${stamp}) can0 ${id.toString(16).toUpperCase().padStart(8, '0')}#${hex(data)}\n`;
  });
  return Buffer.from(lines.join(''));
}

/** The same frames as text, in pieces of any size; ticks are asked for in between as a live run does. */
function inPieces(round: Round, log: Buffer, endT: number): TickEffects[] {
  const rig = new Rig();
  const parser = new LogParser({
    interest: rig.pipeline.interest,
    busOf: () => 0,
    sink: rig.stepper,
    onSeam: () => {
      throw new Error('no stamp jumps back');
    },
  });
  for (let at = 0; at < log.length; ) {
    const size = 1 + round.below(round.below(3) === 0 ? 20 : 200_000);
    parser.push(Buffer.from(log.subarray(at, at + size)));
    at += size;
  }
  parser.end();
  return rig.advance(endT).effects;
}

/** Cut into runs of the pipeline that are saved as JSON and taken up again. */
function inRuns(round: Round, frames: readonly Frame[], endT: number): TickEffects[] {
  let rig = new Rig();
  const effects: TickEffects[] = [];
  for (let at = 0; at < frames.length; ) {
    const piece = frames.slice(at, at + 1 + round.below(FRAMES / 3));
    rig.feed(piece.filter(({ id }) => rig.pipeline.interest[(id >>> 8) & 0x3ffff] !== 0));
    at += piece.length;
    // Frames of no interest at the end of a piece are not fed, but the seconds up to them have passed.
    const now = piece.at(-1)!.t;
    rig.advance(now);
    effects.push(...rig.effects);
    rig = new Rig(truckOf(), { kind: 'same-run', state: rig.saved(now), t: now });
  }
  rig.advance(endT);
  return [...effects, ...rig.effects];
}

describe('malformed and mutated frames, partial, interleaved, endless and oversize transfers from 254 sources', () => {
  const row = new FaultRow('traffic', { short: 5, full: 50 });
  const fields = new FaultRow('traffic:fields', { short: 5, full: 50 });

  test('no exception, no number that is none, state and transfers bounded, the same in any chunking', {
    timeout: row.timeoutMs,
  }, async () => {
    await row.each((round) => {
      const frames = traffic(round);
      const rig = new Rig();
      const { interest } = rig.pipeline;
      let mostSessions = 0;
      let mostBytes = 0;
      for (const [i, frame] of frames.entries()) {
        if (interest[(frame.id >>> 8) & 0x3ffff] === 0) continue;
        rig.feed([frame]);
        mostSessions = Math.max(mostSessions, rig.pipeline.state.transports['0']!.sessions.length);
        if (i % 2_000 === 0) mostBytes = Math.max(mostBytes, JSON.stringify(rig.saved(frame.t)).length);
      }
      const endT = frames.at(-1)!.t + 70_000;
      rig.advance(endT);
      expectFinite(rig.effects);
      expect(mostSessions).toBeLessThanOrEqual(MAX_SESSIONS);
      expect(mostBytes).toBeLessThan(STATE_BYTES);
      expect(rig.events.length).toBeGreaterThan(0);
      expect(difference(inPieces(round, logOf(frames), endT), rig.effects)).toBe('');
      expect(difference(inRuns(round, frames, endT), rig.effects)).toBe('');
    });
  });

  test('a field that says error, not available or reserved gives no number: ranges are those of the sound frames alone', {
    timeout: fields.timeoutMs,
  }, async () => {
    const sound = [...drive(0, 300, (s) => ({ brakeKpa: s % 30 < 4 ? 240 : 0 }))];
    const ranges = rangesOf(new Rig().feed(sound).advance(400_000).effects);
    expect(ranges.size).toBeGreaterThan(20);
    await fields.each((round) => {
      const frames = sound.flatMap((frame) => (round.below(2) === 0 ? [frame, invalid(round, frame)] : [frame]));
      const rig = new Rig().feed(frames).advance(400_000);
      for (const [key, { min, max }] of rangesOf(rig.effects)) {
        const allowed = ranges.get(key);
        expect([key, allowed === undefined]).toEqual([key, false]);
        expect(min).toBeGreaterThanOrEqual(allowed!.min);
        expect(max).toBeLessThanOrEqual(allowed!.max);
      }
    });
  });
});

/** Where two runs first differ, with what is around it; '' when they do not. */
function difference(got: readonly TickEffects[], expected: readonly TickEffects[]): string {
  const [a, b] = [JSON.stringify(got), JSON.stringify(expected)];
  if (a === b) return '';
  let at = 0;
  while (a[at] === b[at]) at++;
  const around = (text: string): string => text.slice(Math.max(0, at - 200), at + 100);
  return `got ${around(a)}\nexpected ${around(b)}`;
}

/** The frame with some of its bytes saying that they are no values. */
function invalid(round: Round, frame: Frame): Frame {
  const data = Uint8Array.from(frame.data);
  // A tire or wheel keeps its place, and a list of codes is no field.
  const first = pgnOf(frame.id) === 65268 ? 1 : 0;
  if (pgnOf(frame.id) === 65226) data.fill(0xff);
  for (let i = first; i < data.length; i++) data[i] = 0xfb + round.below(5);
  return { ...frame, data };
}

/** Least and greatest of each quantity of each subject in the history. */
function rangesOf(effects: readonly TickEffects[]): Map<string, { min: number; max: number }> {
  const ranges = new Map<string, { min: number; max: number }>();
  for (const { subject, quantity, min, max } of effects.flatMap((each) => each.history)) {
    const key = `${subject} ${quantity}`;
    const range = ranges.get(key) ?? { min, max };
    ranges.set(key, { min: Math.min(range.min, min), max: Math.max(range.max, max) });
  }
  return ranges;
}
