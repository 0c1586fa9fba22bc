/** Terms of the report that a reader may not know, one sentence each. In the order in which a legend shows them. */
export const GLOSSARY = {
  plan: 'Repair it at the next service.',
  'next stop': 'Check it at the next safe stop.',
  'pull over': 'Stop as soon as it is safe.',
  raise: 'The value at which a level of a rule begins.',
  clear: 'The value at which it ends; it lies further back, so that an alert does not come and go.',
  delay: 'How long a value must stay beyond the limit before anything is said.',
  'n of m':
    'How many of the last results must be bad, where a rule counts applications, readings or tests instead of time.',
  basis: 'Who says so: a regulation, a manual, or common practice where no source stands behind a number.',
  sim: 'The number was chosen with simulated trucks, not by a regulation.',
  cleared: 'Measured good again for as long as the rule asks.',
  closed: 'Ended without being measured good, for the reason that is given.',
  unsure: 'The alert is open, but its readings are too old to say whether it still holds.',
  muted: 'It held and was not told, because another alert says why.',
  chattering: 'It came and went so often that only a worse level is still told.',
  cause: 'The alert that explains this one; people are told of the cause, and this stands under it.',
  'not judged': 'Somebody has called this sensor bad, so that its rules are off until the mark ends.',
  target: 'The cold pressure that the truck file asks for.',
  'raw pressure': 'The pressure as the sensor sent it, with the heat of the road in it.',
  'cold-equivalent pressure':
    'What the tire would show at the temperature for which its target is meant, by the gas law and the air pressure outside.',
  'share of target':
    'Cold pressure as a part of its target, held against how the other tires have warmed since a cold start.',
  mates: 'Wheels of the same kind on the same truck, which are compared with this one.',
  'leak rate': 'How much pressure goes per minute or day, with the ends between which it lies.',
  forecast: 'When a limit will be reached if it goes on like this; the early and the late end are given.',
  application: 'One press of the brake pedal, from 20 kPa (3 psi) on until it is let go.',
  'qualifying application':
    'One of 140 kPa (20 psi) or more, or of 1.5 s where no pressure is known: hard or long enough to judge brakes by.',
  'application pressure':
    'Air pressure that the pedal asks for; it comes once a second, so that its peak may have been higher.',
  'judged band': 'Measured stroke is judged at 550 to 690 kPa (80 to 100 psi) of application pressure only.',
  'stroke limit': 'The pushrod stroke must not be greater than this (49 CFR 393.47(e)); equal to it is legal.',
  'over-stroke': 'The stroke sensor says that the pushrod goes too far.',
  dragging: 'The brake is still on although it was released.',
  'cut-in': 'Pressure at which the governor lets the compressor begin to pump.',
  'cut-out': 'Pressure at which the governor makes it stop.',
  pumping: 'The compressor says that it pumps, or the pressure rises by itself.',
  'leak test':
    'One to five minutes at a standstill in which nothing but a leak changes the air: no pedal, no compressor.',
  gap: 'Nothing was heard in between; lines are not joined over it.',
  blind: 'Nothing was heard although the truck was moving.',
  parked: 'The bus has been quiet for ten seconds and the truck stood.',
  asleep: 'Parked for a minute or more; nothing is judged.',
  disputed: 'Two senders tell different values; it counts for an alert and never for its end.',
} as const;

export type Term = keyof typeof GLOSSARY;
