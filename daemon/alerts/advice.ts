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
  'tire-overinflated': {
    plan: 'Set it to the cold target once the tire is cold. Never let air out of a hot tire.',
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
    plan: 'No pressure is known here: check with a gauge at each stop. Shop: sensor, battery, receiver.',
  },
  'tire-sensor-fault': {
    plan: 'Do not trust what this sensor says: check the tire with a gauge at each stop. Shop: sensor, battery, receiver.',
  },
  'layout-mismatch': {
    plan: 'Tires are heard that the truck file does not have. Check which trailer is coupled, and the layout in the truck file.',
  },
  'trailer-not-seen': {
    plan: 'No tire or brake of the trailer is heard. If one is coupled, its tires are not watched: use a gauge, look at its cable.',
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
  'brake-stroke-uneven': {
    plan: 'The strokes of this axle differ left to right. Shop: compare both adjusters, chambers and linings.',
  },
  'brake-stroke-growing': {
    plan: 'The stroke grows towards its limit. Shop: find the cause in adjuster or brake, do not just readjust.',
  },
  'brake-lining-low': {
    plan: 'Lining nearly worn. Shop: measure it and plan new linings for the axle.',
    'next-stop':
      'Very little lining left. Look at it at the next safe stop. Shop: new linings, check the drum or disc.',
  },
  'brake-hot': {
    'next-stop':
      'A brake is too hot. Brake less, use a lower gear; check at the next safe stop for smoke, a dragging brake.',
  },
  'brakes-defective-share': {
    'pull-over':
      'A fifth of the brakes or more show a defect, as an inspection would count. Stop as soon as it is safe; call a mechanic.',
  },
  'brake-sensor-fault': {
    plan: 'The stroke of this brake is not watched: check it by hand. Shop: sensor, wiring, monitor.',
  },
  'air-low': {
    'pull-over':
      'Stop as soon as it is safe, before the spring brakes do it. Do not drive on until the pressure holds.',
  },
  'air-leaking': {
    plan: 'Loses more air at a standstill than it may. Listen for the leak on the walk around. Shop: find it with soapy water.',
    'next-stop':
      'Loses air fast at a standstill. Listen for the leak at the next safe stop, brakes released and applied. Shop: hoses, couplings, chambers, valves.',
  },
  'air-builds-slowly': {
    plan: 'Air pressure builds too slowly. Shop: intake filter, compressor, its discharge line, leaks.',
  },
  'air-cut-in-low': {
    plan: 'The governor lets the pressure sink too far before the compressor starts. Watch the gauge. Shop: governor.',
  },
  'air-cut-out-high': {
    plan: 'The compressor stops at too high a pressure. Shop: governor and its line.',
    'next-stop':
      'Pressure rises to where the safety valve opens. Watch the gauge; check at the next safe stop. Shop: governor, safety valve.',
  },
  'compressor-overworked': {
    plan: 'The compressor hardly rests. Listen for leaks on the walk around. Shop: leaks first, then compressor and governor.',
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
  'bus-off': {
    plan: 'The vehicle bus is disturbed: data may be missing. Shop: wiring, connectors, terminators, bitrate of the unit.',
  },
  'source-silent': {
    plan: 'A control unit says nothing any more: what it watches is not watched. Shop: its power, connector, fuse.',
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
