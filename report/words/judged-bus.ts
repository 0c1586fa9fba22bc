import { state, type Ways } from './way.js';

const TOLD = { counts: 'fault message' };

export const BUS_WAYS = {
  'fault-code': {
    plan: state('a unit tells a code on tires, brakes or air', 'it is not told any more', TOLD),
    'next-stop': state('the code has FMI 0 or 1', 'it has not, or is not told any more', {
      ...TOLD,
      implies: ['plan'],
    }),
    'pull-over': state('the red stop lamp comes with the code', 'the lamp is off, or the code is not told any more', {
      ...TOLD,
      implies: ['plan'],
    }),
  },
  'stop-lamp': {
    'pull-over': state(
      ({ k }) => `a unit lights the red stop lamp, the engine has run for ${k('engineS')}, and no open code says why`,
      'no unit lights it',
    ),
  },
  'bus-silent': {
    plan: state('nothing of interest was heard for ten seconds while the truck was moving', 'heard again'),
  },
  'bus-off': {
    plan: state(
      ({ k }) =>
        `the interface went off the bus, or ${k('errorFramesPerSecond')} error frames or more in each second for ${k('errorsForS')}`,
      'heard without errors',
    ),
  },
  'source-silent': {
    plan: state(
      ({ k }) => `not heard for ${k('minS')}, or ${k('intervals')} of its own intervals, while others are heard`,
      'heard again',
    ),
  },
  'test-message': {
    plan: state('sent on request', 'over by itself'),
  },
} as const satisfies Record<string, Ways>;
