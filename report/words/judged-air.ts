import { above, below, high, low, type Numbers, speaksOf, state, type Way, type Ways } from './way.js';

/** The number of tests is that of a truck. */
const TESTS: Pick<Way, 'counts' | 'note'> = { counts: 'test', note: ({ k }) => ` (a bus: ${k('busPieces')})` };
const released = speaksOf('brakes released');
const applied = speaksOf('brakes applied');
const byRevolutions = speaksOf('revolutions');

/** The limit that was used, else those for one, two and three vehicles. */
function leak(brakes: 'released' | 'applied', { told, times }: Numbers, factor: number): string {
  const one = told();
  const all = ['One', 'Two', 'Three'].map((n) => times(`${brakes}${n}KpaPerMin`, factor));
  const limit = one ?? `${all.join(', ')} (one, two, three vehicles)`;
  return `at a standstill a service circuit falls evenly by ${limit} or more, brakes ${brakes}`;
}

export const AIR_WAYS = {
  'air-low': {
    'pull-over': low('engine running or truck moving, filling at a start left out: lower service circuit', 'kPa'),
  },
  'air-leaking': {
    plan: state((n) => leak('released', n, 1), '', { ...TESTS, fits: released }),
    'next-stop': state((n) => leak('released', n, 2), '', { ...TESTS, fits: released, implies: ['plan'] }),
    applied: state((n) => leak('applied', n, 1), '', { ...TESTS, fits: applied }),
    'applied-far': state((n) => leak('applied', n, 2), '', { ...TESTS, fits: applied, implies: ['applied'] }),
  },
  'air-builds-slowly': {
    plan: {
      unit: 's',
      raise: ({ raise, k }) =>
        `longer than ${raise} from ${k('fromKpa')} to ${k('toKpa')} at ${k('minRpm')} rpm or more, a vehicle alone`,
      clear: ({ clear }) => `${clear} or less`,
      counts: 'build-up',
      endsAfter: 'n',
      fits: (m) => !byRevolutions(m),
      limitIs: 'ratio',
    },
    'against-itself': high('engine revolutions for the same air, against its own first days,', 'share', {
      counts: 'day',
      endsAfter: 'n',
      fits: byRevolutions,
    }),
  },
  'air-cut-in-low': {
    plan: below('cut-in of the governor', 'kPa', { counts: 'cycle', endsAfter: 'n', limitIs: 'instead' }),
  },
  'air-cut-out-high': {
    plan: above('cut-out of the governor', 'kPa', { counts: 'cycle', endsAfter: 'n' }),
    'next-stop': high('cut-out of the governor', 'kPa', { counts: 'cycle', endsAfter: 'n', implies: ['plan'] }),
  },
  'compressor-overworked': {
    plan: {
      unit: 'share',
      raise: ({ raise, k }) => `share of running time spent pumping at or above ${raise}, over ${k('windowS')}`,
      clear: ({ clear }) => `at or below ${clear}`,
      limitIs: 'ratio',
    },
  },
  'circuits-unequal': {
    'next-stop': {
      unit: 'kPa',
      raise: ({ raise, k }) =>
        `engine running, ${k('afterBrakingS')} or more after braking: difference of the service circuits at or above ${raise}`,
      clear: ({ clear }) => `at or below ${clear}`,
    },
  },
} as const satisfies Record<string, Ways>;
