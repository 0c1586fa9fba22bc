import { check, type RuleChecks } from './rule-checks.js';
import { TOOLS as T } from './tools.js';

/* Figures have the row of the fact sheet on regulations beside them (D-06); those without one are common practice. */

const CHOCK = check(
  T.chocks,
  'Chock the wheels and stay from under the truck: with low air the spring brakes come on by themselves. Local codes say who may work on brakes.',
);
const COMPARE = check(
  T.testGauges,
  'Screw test gauges into the ports of both service tanks, and compare them with the dash and with the report.',
);
// D-06
const RELEASED_TEST = check(
  T.watch,
  'Tanks full, engine off, parking brake released: let the needles settle, then time a minute. Limits: 13.8 kPa (2 psi), two units 20.7 kPa (3 psi), three 34.5 kPa (5 psi) (driver manuals).',
);
// D-07
const APPLIED_TEST = check(
  T.watch,
  'Then hold the pedal at 620 kPa (90 psi) or more for a minute. Limits: 20.7 kPa (3 psi), two units 27.6 kPa (4 psi), three 41.4 kPa (6 psi) (driver manuals).',
);
// D-23
const SOAP = check(
  T.soap,
  'Walk around and listen. Wet couplings, hoses, chambers, tank drains, valves and the dryer’s purge valve: bubbles show the leak.',
);
// D-04
const BUILD_UP = check(
  T.watch,
  'Parked, engine at working speed, no pedal: time from 586 to 689 kPa (85 to 100 psi). A truck alone needs at most 45 s (driver manuals).',
);

const GAUGE_AGREES = 'Test gauge and report within 28 kPa (4 psi) of each other: believe the sensor (common practice).';
const CRANKING = 'A dip while the engine is cranked is the battery, not the air.';

export const AIR_CHECKS = {
  'air-low': {
    checks: [
      CHOCK,
      check(
        T.dash,
        'Read both dash gauges and listen: a leak that takes the pressure down while driving can be heard.',
      ),
      COMPARE,
      SOAP,
      BUILD_UP,
      //
      check(
        T.dash,
        'Key on, engine off, press the pedal again and again: the warning must come on before 414 kPa (60 psi) (49 CFR 571.121 S5.1.5).',
      ),
      check(null, 'No leak and no pressure: governor, compressor, its discharge line, dryer, check valves.'),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      'Both circuits sank together and the driver’s warning came on: it is real. One alone sank: its sensor, or its circuit.',
      CRANKING,
      'Two senders of one circuit that differ: "disputed" in the report. Trust the lower one until a test gauge has decided.',
    ],
  },
  'air-leaking': {
    checks: [
      CHOCK,
      RELEASED_TEST,
      APPLIED_TEST,
      check(
        null,
        'Only with the pedal down: chamber, its hose, relay or foot valve. Also released: supply, tanks, drains, spring brakes, couplings.',
      ),
      SOAP,
      check(null, 'Close off or uncouple the trailer and test the tractor alone: that tells which unit leaks.'),
      check(T.watch, 'After the repair do both tests again, and write down the figures.'),
    ],
    sensorOrReal: [
      'A test gauge in the port falls as fast as the report says: it is real.',
      'Air that was just pumped cools and falls for a minute or so. The report waits 90 s; wait too.',
      'Both circuits falling alike: what they share leaks, such as supply, dryer or parking circuit. One: that circuit, or its sensor.',
      'Somebody moved the pedal, the parking brake or the suspension during the test: do it again.',
    ],
  },
  'air-builds-slowly': {
    checks: [
      CHOCK,
      BUILD_UP,
      RELEASED_TEST,
      SOAP,
      check(null, 'No leak: intake filter, discharge line with carbon in it, dryer, unloader, compressor.'),
      //
      check(
        null,
        'Bigger tanks take longer: 25 s times their volume by the volume that is required (49 CFR 571.121 S5.1.1). The truck file can have both.',
      ),
    ],
    sensorOrReal: [
      'A watch and a gauge decide: the same time as in the report means that it is real.',
      'Air that is used during the test (suspension, doors, a pedal) makes it longer. Do it again without.',
      'Another trailer has other tanks. Compare with the same combination.',
    ],
  },
  'air-cut-in-low': {
    checks: [
      CHOCK,
      // D-01, A-09, A-10
      check(
        T.dash,
        'Fill until the compressor rests. Press the pedal step by step and read where it begins again: 690 kPa (100 psi) or more, a bus 586 kPa (85 psi) or more (49 CFR 571.121 S5.1.1.1).',
      ),
      COMPARE,
      check(T.soap, 'Wet the governor and the line between tank and governor: a leak there shifts both ends.'),
      check(null, 'Governor set or worn: set or replace it as its maker says.'),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      'The report takes the valley before each pumping. Air that is used fast just then makes the valley deeper: brake gently.',
      'Cut-out moved by as much as cut-in: the sensor. Only one of them moved: the governor.',
    ],
  },
  'air-cut-out-high': {
    checks: [
      // D-03
      check(
        T.chocks,
        'Chock the wheels. Stay away from the safety valve: it opens at about 1,034 kPa (150 psi) (driver manuals).',
      ),
      // D-01
      check(
        T.dash,
        'Let the engine pump and read where it stops: 827 to 965 kPa (120 to 140 psi) (driver manuals). Stop the engine when it goes beyond.',
      ),
      COMPARE,
      check(T.soap, 'Wet the governor and its lines: a blocked or leaking line keeps the compressor going.'),
      check(
        null,
        'Unloader that sticks, governor set or worn: mend it as its maker says. Then see that the safety valve is tight.',
      ),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      'The safety valve blew, or the dryer purges late: it is real.',
      'Cut-in moved by as much as cut-out: the sensor. Only one of them moved: the governor.',
    ],
  },
  'compressor-overworked': {
    checks: [
      CHOCK,
      SOAP,
      RELEASED_TEST,
      APPLIED_TEST,
      check(
        null,
        'Close off what uses air one by one: suspension, trailer, doors, seats. Listen whether the compressor comes to rest.',
      ),
      BUILD_UP,
      check(null, 'No leak: intake filter, discharge line, governor, compressor.'),
    ],
    sensorOrReal: [
      'Time the compressor for ten minutes of idling with a watch: pumping half of it without a pedal is too much (common practice).',
      'Its status can be stuck at "pumping". If the pressure does not rise meanwhile, doubt the status.',
      'Much braking in a town or on a grade uses air too. Compare with a day on the highway.',
    ],
  },
  'circuits-unequal': {
    checks: [
      CHOCK,
      COMPARE,
      RELEASED_TEST,
      SOAP,
      check(null, 'The lower circuit falls by itself: hose, chamber or valve of that circuit.'),
      check(
        T.dash,
        'Neither falls: let the engine fill and watch both needles. The one that stays behind gets no air: check valve or protection valve of that circuit.',
      ),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      'Swap the two sensors, or their plugs. If the low one changes its side, the sensor is bad.',
      'A difference that stays the same at all pressures is the sensor. A leak makes it grow.',
      CRANKING,
    ],
  },
} as const satisfies Record<string, RuleChecks>;
