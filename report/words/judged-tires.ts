import type { Measured } from '../../daemon/alerts/event.js';
import { high, low, speaksOf, state, type Ways } from './way.js';

const byPeers = speaksOf('peers');
const atColdStart = (m: Measured): boolean => 'window' in m && m.window === 'cold start';

const SHARE = low('share of target', 'share', { limitIs: 'target' });
const HOT = high('temperature in the tire', '°C', { fits: (m) => !byPeers(m) });
const COLD_START = { fits: atColdStart, isVerdict: true };

export const TIRE_WAYS = {
  'tire-underinflated': {
    plan: SHARE,
    'next-stop': { ...SHARE, implies: ['plan'] },
    'pull-over': { ...SHARE, implies: ['plan', 'next-stop'] },
  },
  'tire-losing-air': {
    plan: {
      unit: 'kPa/day',
      raise: ({ raise, k }) =>
        `loses ${raise} or more from cold start to cold start, by itself and against its mates, and ${k('slowTotalKpa')} in all`,
      clear: ({ clear }) => `loses ${clear} or less`,
      isVerdict: true,
      fits: (m) => 'window' in m && m.window === 'slow',
    },
    'next-stop': {
      unit: 'kPa',
      raise: ({ raise, k }) =>
        `${raise} or more lost beyond a harmless ${k('steadyFallKpaPerMin')}, in raw and in cold-equivalent pressure`,
      clear: ({ clear }) => `less than ${clear} so lost`,
      counts: 'reading',
    },
    'pull-over': {
      unit: 'kPa',
      raise: ({ raise, k }) =>
        `${raise} or more lost beyond ${k('rapidFallKpaPerMin')}, and ${k('rapidBeforeKpa')} of it at the reading before`,
      clear: ({ clear }) => `less than ${clear} so lost`,
      counts: 'reading',
    },
    forecast: {
      unit: 's',
      raise: ({ raise, k }) =>
        `would be at ${k('forecastShare')} of target within ${raise}, by the early end of the forecast`,
      clear: ({ clear }) => `not within ${clear}`,
    },
    burst: {
      unit: 'share',
      raise: ({ raise, k }) =>
        `${raise} or more of the pressure gone between two readings at most ${k('burstWithinS')} apart on the road, or silent after a rapid leak`,
      clear: () => 'no such loss',
    },
  },
  'tire-overinflated': {
    plan: high('share of target', 'share', { limitIs: 'target' }),
  },
  'tire-hot': {
    'next-stop': HOT,
    'pull-over': { ...HOT, implies: ['next-stop'] },
    'above-peers': {
      unit: 'Δ°C',
      raise: ({ raise, k }) => `${raise} or more above the median of its mates, and at ${k('peersFloorC')} or more`,
      clear: ({ clear }) => `${clear} or less above them`,
      fits: byPeers,
    },
  },
  'duals-unequal': {
    plan: {
      unit: 'kPa',
      raise: ({ raise, k }) =>
        `difference of the pair at or above ${raise}, raw and cold-equivalent, median of ${k('windowS')}`,
      clear: ({ clear }) => `at or below ${clear}`,
      fits: (m) => !atColdStart(m),
    },
    'cold-start': high('difference of the pair at a cold start', 'kPa', COLD_START),
    'cold-start-fine': high(
      'where both senders tell whole kPa: difference of the pair at a cold start',
      'kPa',
      COLD_START,
    ),
  },
  'tire-sensor-silent': {
    plan: state(
      ({ k }) =>
        `no good reading for ${k('minS')} of moving time, or ${k('intervals')} of its own intervals up to ${k('maxS')}`,
      'a good reading',
    ),
  },
  'tire-sensor-fault': {
    plan: state('its sender calls it faulty, or tells an error or what no tire can have', 'sound', { counts: 'frame' }),
  },
  'layout-mismatch': {
    plan: state(
      'a tire is heard that the truck file does not have',
      'no such tire for two minutes in which others are heard',
      { clearDelay: (time) => `and ${time} more` },
    ),
  },
  'trailer-not-seen': {
    plan: state('nothing is heard of the unit', 'something is heard of it', {
      raiseDelay: (time) => `for ${time} of moving time`,
    }),
  },
  'tires-off-target': {
    plan: {
      unit: null,
      raise: ({ k }) =>
        `median share of at least ${k('minTires')} tires is ${k('lowShare')} to ${k('highShare')} off 100 %`,
      // Left at three quarters of the way back.
      clear: ({ times }) => `less than ${times('lowShare', 0.75)} off`,
    },
  },
} as const satisfies Record<string, Ways>;
