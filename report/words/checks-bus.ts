import { check, type RuleChecks } from './rule-checks.js';
import { TOOLS as T } from './tools.js';

/* Fault codes (SAE J1939-73), and the vehicle bus (SAE J1939-11, ISO 11898: 120 Ω at each end). */

const LOOK = check(
  null,
  'Nobody watches what this covers meanwhile: look at tires, brakes and gauges on the walk around.',
);
const PLUGS = check(
  T.lamp,
  'Look at plugs and cable: seated, clean, dry, not chafed, not squeezed where something was built in.',
);
const TERMINATORS = check(
  T.meter,
  'Battery switch off: measure between CAN high and CAN low. 60 Ω is good, 120 Ω: one end is missing, near 0 Ω: a short.',
);
const SUPPLY = check(
  T.meter,
  'Measure supply and ground at the unit’s plug with the key on, and look at its fuse, by the wiring diagram.',
);
const READ = check(
  T.reader,
  'Read the codes of all units with their counts, and write them down before anything is cleared.',
);

export const BUS_CHECKS = {
  'fault-code': {
    checks: [
      check(
        T.chocks,
        'Chock the wheels before you look at the part that the code names. Local codes say who may work on brakes.',
      ),
      READ,
      check(null, 'FMI 3 to 6 speak of voltage or current: wiring, plug, sensor. Begin there.'),
      check(
        null,
        'FMI 0, 1 and 15 to 18 speak of a value: measure the tire, brake or air itself, as the report says for it.',
      ),
      check(null, 'FMI 2, 9 and 19 speak of data: look at the bus and at the unit that should send them.'),
      PLUGS,
      check(T.reader, 'Clear the code after the repair only, drive, and see that it stays away.'),
    ],
    sensorOrReal: [
      'The report shows the tire, brake or air of this code too? If its own readings say the same, it is real.',
      'A code with a high count that comes and goes with bumps or rain: plug or cable.',
      'Codes of many units at once: supply, ground or the bus, not the parts that they name.',
    ],
  },
  'stop-lamp': {
    checks: [
      check(T.chocks, 'Do not drive on. Chock the wheels.'),
      check(
        null,
        'Look at the dash: oil, coolant, temperature, air. The lamp may be for something that this program does not judge.',
      ),
      READ,
      check(null, 'Do what the maker’s manual says for the code that has the red lamp.'),
      PLUGS,
    ],
    sensorOrReal: [
      'A unit asks for the lamp. That unit’s codes say why; nothing else does.',
      'Lamp lit on the bus and dark in the dash: the bulb, or an instrument that does not listen.',
      'No code anywhere and the lamp goes with a restart: note the unit, and look at its supply.',
    ],
  },
  'bus-silent': {
    checks: [
      LOOK,
      check(
        null,
        'Did the truck go on driving? Then the truck’s bus was alive, and the fault lies at this unit’s plug or supply.',
      ),
      check(T.lamp, 'Look at the unit’s plug at the vehicle and at its cable: shaken loose, chafed, wet.'),
      check(T.meter, 'Measure supply and ground at the unit while somebody shakes the cable.'),
      check(T.reader, 'Read codes on the same plug. Other units that miss data name the time when it happened.'),
      TERMINATORS,
    ],
    sensorOrReal: [
      'A code reader at the same plug hears the truck: this unit or its cable. It hears nothing: the truck’s bus.',
      'It is no finding on tires, brakes or air. What was open before is unsure, not better.',
      'Silent at the same road or bump again and again: a loose plug.',
    ],
  },
  'bus-off': {
    checks: [
      LOOK,
      check(null, 'What was built in or changed last? Unplug it, and see whether the errors end.'),
      TERMINATORS,
      check(
        T.meter,
        'Key on: CAN high and CAN low to ground. Both should stand near 2.5 V. One at 0 V or at supply: a short.',
      ),
      PLUGS,
      check(T.computer, 'See that the interface has the bitrate of the truck (250 or 500 kbit/s) and listens only.'),
    ],
    sensorOrReal: [
      'Errors from the first second on: bitrate or wiring of this unit. Errors that came on the road: plug, chafed cable, water.',
      'Unplug this unit. If a code reader still tells of bus errors, it is the truck.',
      'Readings between the errors are good ones: each frame carries its own check.',
    ],
  },
  'source-silent': {
    checks: [
      LOOK,
      check(
        T.drawing,
        'Which unit has this address? The finding names bus and address; the wiring diagram or a survey the unit.',
      ),
      SUPPLY,
      PLUGS,
      check(
        T.reader,
        'Does the unit answer a code reader? Do others complain that its data are missing (FMI 9 or 19)?',
      ),
      check(T.computer, 'After the repair a survey (axlepost survey) shows whether it is heard again.'),
    ],
    sensorOrReal: [
      'Others on the same bus were heard all the time: it is this unit, its supply or its branch of the cable.',
      'A trailer that was uncoupled takes its units along. Then nothing is broken.',
      'It says nothing of tires, brakes or air. They are not watched as long as it is silent.',
    ],
  },
} as const satisfies Record<string, RuleChecks>;
