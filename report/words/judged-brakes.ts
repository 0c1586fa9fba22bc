import type { Measured } from '../../daemon/alerts/event.js';
import { high, isCode, low, state, type Ways } from './way.js';

const isMeasured = (m: Measured): boolean => !isCode(m);
const QUALIFYING = { counts: 'qualifying application', fits: isCode };
const IN_BAND = { counts: 'application', fits: isMeasured };

const OVER = state('the stroke sensor says over-stroke', '', QUALIFYING);
const DRAGS = 'while moving with all brakes released the stroke sensor says dragging';
const HOT = 'and a tire beside it is hot, or warmer than its mates';
const RESTS = 'at rest when released';

export const BRAKE_WAYS = {
  'brake-overstroke': {
    plan: OVER,
    'next-stop': { ...OVER, implies: ['plan'] },
    // 49 CFR 393.47(e): "must not be greater than"
    measured: state(
      ({ k, told }) =>
        `stroke greater than the limit of its chamber${after(told())}, at ${k('bandLowKpa')} to ${k('bandHighKpa')} of application pressure`,
      '',
      IN_BAND,
    ),
    'measured-far': state(
      ({ k, told }) =>
        `stroke ${k('farMm')} or more beyond the limit of its chamber${after(told())}, at the same pressures`,
      '',
      { ...IN_BAND, implies: ['measured'] },
    ),
  },
  'brake-dragging': {
    'next-stop': state(DRAGS, RESTS, { fits: isCode }),
    'with-heat': state(`${DRAGS}, ${HOT}`, `${RESTS}, or cooler`, { fits: isCode, implies: ['next-stop'] }),
    measured: state(
      ({ k }) =>
        `while moving with the pedal free (below ${k('releasedKpa')} for ${k('releasedS')}) the stroke is ${k('aboveRestMm')} or more beyond its usual rest`,
      RESTS,
      { fits: isMeasured },
    ),
    'measured-with-heat': state(
      ({ k }) => `the stroke is ${k('aboveRestMm')} or more beyond its usual rest in the same way, ${HOT}`,
      RESTS,
      {
        fits: isMeasured,
        implies: ['measured'],
      },
    ),
  },
  'brake-not-applying': {
    'next-stop': state('the stroke sensor says non-functioning', '', QUALIFYING),
    measured: state(
      ({ k }) => `stroke changes by less than ${k('minStrokeMm')} although the pedal is pressed`,
      '',
      // An event tells how many applications, whichever way it was.
      { counts: 'qualifying application' },
    ),
  },
  'brake-stroke-uneven': {
    plan: {
      unit: 'mm',
      raise: ({ raise }) => `more than ${raise} beyond the other side of the axle`,
      clear: () => '',
      counts: 'qualifying application',
    },
  },
  'brake-stroke-growing': {
    plan: {
      unit: 's',
      raise: ({ raise, k }) =>
        `reaches the limit of its chamber within ${raise} by the early end of the forecast; at least ${k('minApplications')} applications on ${k('minDays')} days`,
      clear: ({ clear }) => `not within ${clear}`,
      isVerdict: true,
    },
  },
  'brake-lining-low': {
    plan: low('lining left', 'share', { counts: 'reading', endsAfter: 'm' }),
    'next-stop': low('lining left', 'share', { counts: 'reading', endsAfter: 'm', implies: ['plan'] }),
  },
  'brake-hot': {
    'next-stop': state('the brake controller warns of heat', 'it does not'),
  },
  'brakes-defective-share': {
    'pull-over': high('share of the fitted brakes with an open finding of next stop or worse', 'share'),
  },
  'brake-sensor-fault': {
    plan: state('the stroke monitor says sensor error', 'it tells a state again'),
  },
} as const satisfies Record<string, Ways>;

function after(limit: string | null): string {
  return limit === null ? '' : `, ${limit}`;
}
