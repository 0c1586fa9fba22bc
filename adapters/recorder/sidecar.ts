import { promisify } from 'node:util';
import { gunzip, gzip } from 'node:zlib';
import { z } from 'zod';
import type { TruckConfig } from '../../config/resolved.js';
import type { RareInput } from '../../daemon/input.js';
import type { Plain } from '../../daemon/state.js';
import { configurationSchema } from './configuration.js';

const pack = promisify(gzip);
const unpack = promisify(gunzip);

/** An unpacked state is some 120 KB; a sidecar that claims more is not one of ours. */
const MOST_STATE_BYTES = 64e6;

const t = z.number().int();
const wallMs = z.number().int();
const count = z.number().int().min(0);

const decision = z.object({
  rev: z.number().int(),
  alert: z.number().int(),
  do: z.enum(['take', 'snooze', 'resume', 'close']),
  who: z.string(),
  note: z.string().nullable(),
  minutes: z.number().nullable(),
});

const rareInput = z.discriminatedUnion('kind', [
  z.object({
    t,
    kind: z.literal('answer'),
    answer: z.object({ trailer: z.string().nullable(), decisions: z.array(decision) }),
  }),
  z.object({ t, kind: z.literal('reload'), config: configurationSchema }),
  z.object({ t, kind: z.literal('clock'), zeroCalendarMs: wallMs }),
]) satisfies z.ZodType<RareInput>;

/** What lies beside a segment's log. Documented in docs/recordings.md, which a test holds to this. Unknown keys are let be. */
export const sidecarSchema = z.object({
  v: z.literal(1),
  /** Kept longer, as an alert changed in it or beside it. First in the file: it is found without reading the rest. */
  pinned: z.boolean(),
  /** The log was ended and everything up to lastTick is in it. False while it is written, and after a crash. */
  ended: z.boolean(),
  version: z.string(),
  run: z.object({ boot: count, zeroWallMs: wallMs, synced: z.boolean() }),
  zeroMs: wallMs.min(0),
  zeroCalendarMs: wallMs.nullable(),
  start: count,
  index: z.number().int().min(1),
  firstT: t,
  lastT: t.nullable(),
  lastTick: t.nullable(),
  frames: count,
  holes: z.array(z.object({ fromT: t, toT: t, frames: count })),
  inputs: z.array(rareInput),
  config: z.string(),
  configuration: configurationSchema,
  stateGzipBase64: z.string(),
});
export type Sidecar = z.infer<typeof sidecarSchema>;

/** The broker is no part of a recording: nothing is judged by it, and its address may hold a password. */
export const recordedConfig = (config: TruckConfig): TruckConfig => ({ ...config, mqtt: null });

export const recordedInput = (input: RareInput): RareInput =>
  input.kind === 'reload' ? { ...input, config: recordedConfig(input.config) } : input;

export const PINNED_HEAD = '{"v":1,"pinned":true';
const UNPINNED_HEAD = '{"v":1,"pinned":false';

export function sidecarText(sidecar: Sidecar): string {
  const { v, pinned, ...rest } = sidecar;
  return `${JSON.stringify({ v, pinned, ...rest })}\n`;
}

/** The same sidecar, to be kept longer. */
export function pinnedText(text: string): string {
  return text.startsWith(UNPINNED_HEAD) ? PINNED_HEAD + text.slice(UNPINNED_HEAD.length) : text;
}

/** In the thread pool. */
export async function packState(json: string): Promise<string> {
  return (await pack(json)).toString('base64');
}

/** Rejects when it is not what packState made. */
export async function unpackState(packed: string): Promise<Plain> {
  const bytes = await unpack(Buffer.from(packed, 'base64'), { maxOutputLength: MOST_STATE_BYTES });
  const state = JSON.parse(bytes.toString('utf8')) as Plain;
  if (state === null || typeof state !== 'object' || Array.isArray(state)) throw new Error('no state');
  return state;
}
