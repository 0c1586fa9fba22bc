import type { RuleName, Urgency } from '../../config/resolved.js';
import type { Change } from './event.js';

/** What to do now, and what to tell the shop. Local codes and licensed practice come first, always. */
type Advice = Partial<Record<Urgency, string>>;

const TABLE: Partial<Record<RuleName, Advice>> = {
  'tire-underinflated': {
    plan: 'Top up to the cold target before the next trip. Shop: find out why it is low.',
    'next-stop':
      'Check with a gauge at the next safe stop, slow down until then. Shop: take it off and inspect it before inflating.',
    'pull-over':
      'Stop as soon as it is safe; treat the tire as flat. Shop: take it off and inspect it before inflating.',
  },
  'tire-losing-air': {
    plan: 'Loses air over days. Shop: look for a puncture, the valve and the rim seat.',
    'next-stop':
      'Losing air now. Stop at the next safe place and check it. Shop: look for a puncture, the valve and the rim seat.',
    'pull-over': 'Losing air fast. Stop as soon as it is safe, away from traffic; do not drive on it.',
  },
  'tire-hot': {
    'next-stop':
      'Check at the next safe stop: low pressure, load, a brake that drags. Do not let air out of a hot tire.',
    'pull-over': 'Stop as soon as it is safe. Keep away from the wheel and look for smoke; do not let air out.',
  },
  'duals-unequal': {
    plan: 'Set both tires of the pair to the same cold pressure. Shop: look for the cause in the lower one.',
  },
  'tire-sensor-silent': {
    plan: 'This tire is not watched: check it with a gauge at each stop. Shop: sensor, battery, receiver.',
  },
  'tires-off-target': {
    plan: 'All tires stand off their target together. Check the fill against the temperature of the day, and the target.',
  },
  'brake-overstroke': {
    plan: 'Have the pushrod stroke measured at the next service.',
    'next-stop': 'Have the pushrod stroke measured at the next safe stop. Shop: find the cause, do not just readjust.',
    'pull-over': 'Stop as soon as it is safe. The brake may not hold; have it measured before driving on.',
  },
  'brake-dragging': {
    'next-stop': 'The brake does not release. Check it at the next safe stop, feel for heat with care.',
    'pull-over': 'The brake drags and the wheel is hot. Stop as soon as it is safe and look for smoke or fire.',
  },
  'brake-not-applying': {
    'next-stop':
      'This brake does not act. Keep more distance; check it at the next safe stop. Shop: hose, chamber, adjuster.',
  },
  'air-low': {
    'pull-over':
      'Stop as soon as it is safe, before the spring brakes do it. Do not drive on until the pressure holds.',
  },
  'circuits-unequal': {
    'next-stop': 'One brake circuit is lower than the other. Check for leaks at the next safe stop.',
  },
  'fault-code': {
    plan: 'Have the code read at the next service.',
    'next-stop': 'Have the code read at the next safe stop.',
    'pull-over': 'The unit asks to stop. Stop as soon as it is safe and have the code read.',
  },
  'stop-lamp': { 'pull-over': 'The red stop lamp is on. Stop as soon as it is safe and have it looked at.' },
  'bus-silent': {
    plan: 'No data from the truck while it was moving. What was open is unsure. Shop: connector and power of the unit.',
  },
};

const ENDED = 'Measured good again. The inspection by the driver decides.';
const CLOSED = 'Closed without being measured good.';
const UNSURE = 'No fresh data: do not take it for better. ';

/** Advice for one event: short and plain; it never replaces the driver's inspection, local codes or a licensed mechanic. */
export function adviceFor(rule: RuleName, change: Change, urgency: Urgency): string {
  if (change === 'cleared') return ENDED;
  if (change === 'closed') return CLOSED;
  const advice = TABLE[rule]?.[urgency] ?? 'Have it looked at.';
  return change === 'unsure' ? UNSURE + advice : advice;
}
