import { parseArgs } from 'node:util';

export const PHASES = ['steady', 'storm', 'shared'] as const;
export type Phase = (typeof PHASES)[number];

export interface FleetOptions {
  phases: readonly Phase[];
  trucks: number;
  stormTrucks: number;
  /** Of each steady measurement. */
  seconds: number;
  /** How many times as busy as a day: one measurement each. */
  rates: number[];
  /** Events that each truck has kept when the broker comes back. */
  backlog: number;
  readers: number;
  seed: number;
}

const LONG: FleetOptions = {
  ...{
    phases: PHASES,
    trucks: 10_000,
    stormTrucks: 2_000,
    seconds: 30,
    rates: [1, 10],
    backlog: 25,
    readers: 5,
    seed: 1,
  },
};
/** Only to see that all of it works. */
const SHORT: FleetOptions = { ...LONG, trucks: 200, stormTrucks: 200, seconds: 4, rates: [200], backlog: 10 };
/** Ports of one address, less those of everything else (net.ipv4.ip_local_port_range has some 28,000). */
const MOST_TRUCKS = 25_000;

export const USAGE = `npm run bench:fleet -- [--short] [--trucks N] [--storm-trucks N] [--seconds N] [--rate N]... [--backlog N]
                       [--readers N] [--seed N] [--only ${PHASES.join('|')}]`;

/** Throws an Error with one line for what cannot be meant. */
export function readOptions(args: string[]): FleetOptions {
  const text = { type: 'string' } as const;
  const { values } = parseArgs({
    args,
    options: {
      ...{ trucks: text, 'storm-trucks': text, seconds: text, backlog: text, readers: text, seed: text, only: text },
      rate: { type: 'string', multiple: true },
      short: { type: 'boolean' },
    },
  });
  const preset = values.short === true ? SHORT : LONG;
  const only = PHASES.find((phase) => phase === values.only);
  if (values.only !== undefined && only === undefined) throw new Error(`--only is one of ${PHASES.join(', ')}`);
  const number = (
    name: 'trucks' | 'storm-trucks' | 'seconds' | 'backlog' | 'readers' | 'seed',
    preset: number,
  ): number => whole(name, values[name], preset);
  return {
    phases: only === undefined ? preset.phases : [only],
    trucks: number('trucks', preset.trucks),
    stormTrucks: number('storm-trucks', preset.stormTrucks),
    seconds: number('seconds', preset.seconds),
    rates: values.rate?.map((rate) => whole('rate', rate, 1)) ?? preset.rates,
    backlog: number('backlog', preset.backlog),
    readers: number('readers', preset.readers),
    seed: number('seed', preset.seed),
  };
}

function whole(name: string, text: string | undefined, preset: number): number {
  if (text === undefined) return preset;
  const value = Number(text);
  const most = name.endsWith('trucks') ? MOST_TRUCKS : 1_000_000;
  if (!Number.isInteger(value) || value < 1 || value > most) throw new Error(`--${name} is a number from 1 to ${most}`);
  return value;
}
