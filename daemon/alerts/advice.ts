import type { RuleName, Urgency } from '../../config/resolved.js';
import type { Change } from './event.js';

/**
 * What to do about a finding. Local codes and licensed practice come before any of it, and the driver's inspection decides.
 * Plain characters; all of it together at most MOST_CHARACTERS.
 */
export interface Advice {
  /** What the driver does now. */
  driver: string;
  /** How nobody gets hurt by doing it; left out where nothing near the wheel or the brake has to be done. */
  care?: string;
  /** What the shop is told to look for. */
  shop: string;
}

/** Of the whole text, `unsure` included: two short lines on a phone. */
export const MOST_CHARACTERS = 320;

/** A tire that was driven low may burst while air is put in: 29 CFR 1910.177(f)(4). */
const CARE_LOW_TIRE = 'Stand clear of its side; no air into it before it was inspected.';
const CARE_HOT = 'Keep clear: it may burn or burst.';
/** Work on brakes: 49 CFR 396, local codes. */
const CARE_BRAKE = 'Chock the wheels first; local codes say who may work on brakes.';

const say = (driver: string, shop: string, care?: string): Advice =>
  care === undefined ? { driver, shop } : { driver, care, shop };

export const TABLE: Partial<Record<RuleName, Partial<Record<Urgency, Advice>>>> = {
  'tire-underinflated': {
    plan: say('Top up to the cold target before the next trip.', 'find out why it is low.'),
    'next-stop': say(
      'Check with a gauge at the next safe stop, slow down until then.',
      'take it off and inspect it before inflating.',
      CARE_LOW_TIRE,
    ),
    'pull-over': say(
      'Stop as soon as it is safe; treat the tire as flat.',
      'take it off and inspect it before inflating.',
      CARE_LOW_TIRE,
    ),
  },
  'tire-losing-air': {
    plan: say(
      'Loses air over days. Check it with a gauge before each trip.',
      'look for a puncture, the valve and the rim seat.',
    ),
    'next-stop': say(
      'Losing air now. Stop at the next safe place and check it.',
      'look for a puncture, the valve and the rim seat.',
      CARE_LOW_TIRE,
    ),
    'pull-over': say(
      'Losing air fast. Stop as soon as it is safe, away from traffic; do not drive on it.',
      'look at tire, valve and rim, and at the tire beside it.',
      CARE_LOW_TIRE,
    ),
  },
  'tire-overinflated': {
    plan: say(
      'Set it to the cold target once the tire is cold.',
      'check the target, and what it was filled by.',
      'Never let air out of a hot tire.',
    ),
  },
  'tire-hot': {
    'next-stop': say(
      'Check at the next safe stop: low pressure, load, a brake that drags. Do not let air out of a hot tire.',
      'brake release, wheel bearing, load on the axle.',
      CARE_HOT,
    ),
    'pull-over': say(
      'Stop as soon as it is safe and look for smoke from a distance; do not let air out.',
      'brake release, wheel bearing; inspect the tire before it is used again.',
      CARE_HOT,
    ),
  },
  'duals-unequal': {
    plan: say('Set both tires of the pair to the same cold pressure.', 'look for the cause in the lower one.'),
  },
  'tire-sensor-silent': {
    plan: say('No pressure is known here: check with a gauge at each stop.', 'sensor, battery, receiver.'),
  },
  'tire-sensor-fault': {
    plan: say(
      'Do not trust what this sensor says: check the tire with a gauge at each stop.',
      'sensor, battery, receiver.',
    ),
  },
  'layout-mismatch': {
    plan: say(
      'Tires are heard that the truck file does not have. Check which trailer is coupled.',
      'the layout in the truck file, and which wheel each sensor was taught.',
    ),
  },
  'trailer-not-seen': {
    plan: say(
      'No tire or brake of the trailer is heard. If one is coupled, its tires are not watched: use a gauge, look at its cable.',
      'cable, plugs, and the power of its receiver.',
    ),
  },
  'tires-off-target': {
    plan: say(
      'All tires stand off their target together. Check the fill against the temperature of the day.',
      'the gauge they were filled by, and the target.',
    ),
  },
  'brake-overstroke': {
    plan: say(
      'Have the pushrod stroke measured at the next service.',
      'find the cause, do not just readjust.',
      CARE_BRAKE,
    ),
    'next-stop': say(
      'Have the pushrod stroke measured at the next safe stop.',
      'find the cause, do not just readjust.',
      CARE_BRAKE,
    ),
    'pull-over': say(
      'Stop as soon as it is safe. The brake may not hold; have it measured before driving on.',
      'adjuster, chamber, foundation brake; do not just readjust.',
      CARE_BRAKE,
    ),
  },
  'brake-dragging': {
    'next-stop': say(
      'The brake does not release. Check it at the next safe stop; do not touch it, it may be hot.',
      'release of the chamber, parking brake, return spring, adjuster.',
      CARE_BRAKE,
    ),
    'pull-over': say(
      'The brake drags and the wheel is hot. Stop as soon as it is safe and look for smoke or fire.',
      'release of the chamber, parking brake, lining, wheel bearing, the tire.',
      CARE_HOT,
    ),
  },
  'brake-not-applying': {
    'next-stop': say(
      'This brake does not act. Keep more distance; check it at the next safe stop.',
      'hose, chamber, adjuster.',
      CARE_BRAKE,
    ),
  },
  'brake-stroke-uneven': {
    plan: say(
      'The strokes of this axle differ left to right. Have them measured at the next service.',
      'compare both adjusters, chambers and linings.',
      CARE_BRAKE,
    ),
  },
  'brake-stroke-growing': {
    plan: say(
      'The stroke grows towards its limit. Have it measured at the next service.',
      'find the cause in adjuster or brake, do not just readjust.',
      CARE_BRAKE,
    ),
  },
  'brake-lining-low': {
    plan: say(
      'Lining nearly worn. Have it measured at the next service.',
      'plan new linings for the axle.',
      CARE_BRAKE,
    ),
    'next-stop': say(
      'Very little lining left. Look at it at the next safe stop.',
      'new linings, check the drum or disc.',
      CARE_BRAKE,
    ),
  },
  'brake-hot': {
    'next-stop': say(
      'A brake is too hot. Brake less, use a lower gear; check at the next safe stop for smoke, a dragging brake.',
      'brake release, balance between the axles.',
      CARE_HOT,
    ),
  },
  'brakes-defective-share': {
    'pull-over': say(
      'A fifth of the brakes or more show a defect, as an inspection would count. Stop as soon as it is safe; call a mechanic.',
      'the wheels that are listed under this.',
      CARE_BRAKE,
    ),
  },
  'brake-sensor-fault': {
    plan: say('The stroke of this brake is not watched: have it checked by hand.', 'sensor, wiring, monitor.'),
  },
  'air-low': {
    'pull-over': say(
      'Stop as soon as it is safe, before the spring brakes do it. Do not drive on until the pressure holds.',
      'leaks, compressor, governor, check valves.',
      CARE_BRAKE,
    ),
  },
  'air-leaking': {
    plan: say(
      'Loses more air at a standstill than it may. Listen for the leak on the walk around.',
      'find it with soapy water.',
      CARE_BRAKE,
    ),
    'next-stop': say(
      'Loses air fast at a standstill. Listen for the leak at the next safe stop, brakes released and applied.',
      'hoses, couplings, chambers, valves.',
      CARE_BRAKE,
    ),
  },
  'air-builds-slowly': {
    plan: say(
      'Air pressure builds too slowly. Do not move before it is up; watch the gauge.',
      'intake filter, compressor, its discharge line, leaks.',
    ),
  },
  'air-cut-in-low': {
    plan: say(
      'The governor lets the pressure sink too far before the compressor starts. Watch the gauge.',
      'governor and its line.',
    ),
  },
  'air-cut-out-high': {
    plan: say('The compressor stops at too high a pressure. Watch the gauge.', 'governor and its line.'),
    'next-stop': say(
      'Pressure rises to where the safety valve opens. Watch the gauge; check at the next safe stop.',
      'governor, safety valve.',
      'Keep away from the safety valve; local codes say who may work on brakes.',
    ),
  },
  'compressor-overworked': {
    plan: say(
      'The compressor hardly rests. Listen for leaks on the walk around.',
      'leaks first, then compressor and governor.',
    ),
  },
  'circuits-unequal': {
    'next-stop': say(
      'One brake circuit is lower than the other. Check for leaks at the next safe stop.',
      'leaks, check valve and gauge of the lower circuit.',
      CARE_BRAKE,
    ),
  },
  'fault-code': {
    plan: say('Have the code read at the next service.', 'read the code, and what the unit says beside it.'),
    'next-stop': say('Have the code read at the next safe stop.', 'read the code, and what the unit says beside it.'),
    'pull-over': say(
      'The unit asks to stop. Stop as soon as it is safe and have the code read.',
      'read the code, and what the unit says beside it.',
    ),
  },
  'stop-lamp': {
    'pull-over': say(
      'The red stop lamp is on. Stop as soon as it is safe and have it looked at.',
      'read the codes of all units.',
    ),
  },
  'bus-silent': {
    plan: say(
      'No data from the truck while it was moving. What was open is unsure: look at tires and gauges yourself.',
      'connector and power of the unit.',
    ),
  },
  'bus-off': {
    plan: say(
      'The vehicle bus is disturbed: data may be missing. Look at tires and gauges yourself.',
      'wiring, connectors, terminators, bitrate of the unit.',
    ),
  },
  'source-silent': {
    plan: say(
      'A control unit says nothing any more: what it watches is not watched. Look at it yourself.',
      'its power, connector, fuse.',
    ),
  },
};

const ENDED = 'Measured good again. The inspection by the driver decides.';
const CLOSED = 'Closed without being measured good.';
const UNSURE = 'No fresh data: do not take it for better. ';
const ANY = 'Have it looked at.';

/** Advice for one event, as one line; it never replaces the driver's inspection, local codes or a licensed mechanic. */
export function adviceFor(rule: RuleName, change: Change, urgency: Urgency): string {
  if (change === 'cleared') return ENDED;
  if (change === 'closed') return CLOSED;
  const advice = TABLE[rule]?.[urgency];
  const { driver, care, shop } = advice ?? {};
  const words = advice === undefined ? ANY : `${driver} ${care === undefined ? '' : `${care} `}Shop: ${shop}`;
  return change === 'unsure' ? UNSURE + words : words;
}
