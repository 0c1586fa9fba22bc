import { check, type RuleChecks } from './rule-checks.js';
import { TOOLS as T } from './tools.js';

/*
 * Figures have the row of the fact sheet on regulations beside them (T-30); those without one are common practice, and the text
 * says so where a number depends on it.
 */

const CHOCK = check(
  T.chocks,
  'Set the parking brake and chock the wheels. Stay clear of the tire’s side: a tire that ran low can burst while it stands.',
);
// T-30: (f)(2) and (f)(4) are written for multi-piece rims.
const LET_OUT = check(
  T.core,
  'At 80 % of target or less put no air in. Take the valve core out, then take the tire off and inspect it (29 CFR 1910.177(f); common practice on all rims).',
);
const ADD_AIR = check(
  T.chuck,
  'Above 80 % of target it may be filled on the truck. Use a clip-on chuck and a long hose, with nobody in the way of a burst (29 CFR 1910.177(f)(4)).',
);
const FIND_LEAK = check(T.soap, 'Wet valve core, valve stem, rim edge and tread. Where bubbles grow, air gets out.');

/** Steps of 4 kPa (SPN 241) and the usual gauge: common practice. */
const GAUGE_AGREES =
  'Read gauge and sensor in the same minute. Within 14 kPa (2 psi) of each other: believe the sensor (common practice).';
const SECOND_GAUGE =
  'They differ: take a second gauge. If both gauges agree, the sensor is wrong, or it sits in another wheel.';
const SWAP =
  'Sensors on the valve: swap with the axle mate. If the fault goes along, it is the sensor. Those on the rim: only when the tire is off anyway.';
const MARK =
  'Wheel good and sensor bad: mark it (axlepost mark), so that it is not judged until it is replaced. Use a gauge until then.';

export const TIRE_CHECKS = {
  'tire-underinflated': {
    checks: [
      CHOCK,
      check(
        T.gauge,
        'Measure from the tread side, before any air is moved. Write down the pressure, the time, and whether the tire is warm.',
      ),
      // T-40, T-42
      check(
        null,
        'Compare with the cold target. Cold means 3 h of standing; from the highway a tire stands 70 to 140 kPa (10 to 20 psi) higher (trade practice).',
      ),
      LET_OUT,
      ADD_AIR,
      FIND_LEAK,
      check(T.gauge, 'Measure the axle mate, and the other tire of a dual pair: it has carried the load.'),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      SECOND_GAUGE,
      'Change the pressure of this tire by 20 kPa (3 psi). If another wheel’s reading moves, two sensors are mixed up.',
      MARK,
    ],
  },
  'tire-losing-air': {
    checks: [
      CHOCK,
      // T-01
      check(
        null,
        'Look and listen from a distance: nail, cut, hissing valve. A tire that leaks audibly must not be driven (49 CFR 393.75(a)).',
      ),
      check(T.gauge, 'Measure twice, 10 minutes apart, with the same gauge (common practice). Write down both.'),
      LET_OUT,
      FIND_LEAK,
      check(T.gauge, 'Measure the other tire of a dual pair, and look at its sidewalls: it has carried the load.'),
      // T-45
      check(
        T.gauge,
        'After the repair set it to the cold target, and measure again next morning. A sound tire loses 7 to 14 kPa (1 to 2 psi) in a month (GAO-07-246R).',
      ),
    ],
    sensorOrReal: [
      'Two gauge readings fall as the sensor says: the leak is real.',
      'The gauge stands still and the sensor fell on the road only: look at valve core and stem first, then doubt the sensor.',
      'A leak takes raw and cold-equivalent pressure down together. If only one falls, it is heat, or the sensor’s temperature.',
      'Most tires falling alike is weather, altitude or the receiver. It is no leak.',
    ],
  },
  'tire-overinflated': {
    checks: [
      // T-40, T-43
      check(null, 'Wait until the tire is cold: 3 h of standing (trade practice). Never let air out of a hot tire.'),
      CHOCK,
      check(T.gauge, 'Measure it cold, then its axle mates with the same gauge.'),
      check(null, 'Compare with the target of the truck file and with the greatest pressure marked on the sidewall.'),
      check(
        T.twoGauges,
        'One tire high: it was overfilled. All high: check the shop’s gauge against a second one, and the target.',
      ),
      check(T.gauge, 'Set it to the cold target. Measure once more next morning.'),
    ],
    sensorOrReal: [
      GAUGE_AGREES,
      SECOND_GAUGE,
      'A sensor that tells too low a temperature makes the cold-equivalent pressure too high. After a cold night it should be within 5 °C (9 °F) of the air.',
      MARK,
    ],
  },
  'tire-hot': {
    checks: [
      check(
        T.extinguisher,
        'Look for smoke and flames from a distance. Do not stand at the tire’s side and do not let air out of it.',
      ),
      // B-54: for screening only
      check(
        T.heat,
        'While it is hot, from the tread side: compare drum or disc, hub and tire with the other side of the axle. Drum: brake. Hub: bearing. Only the tire: pressure or load.',
      ),
      check(T.chocks, 'Chock other wheels than the hot one. Let it cool down before you touch anything.'),
      check(T.gauge, 'Cold, measure the pressure and compare it with the target. Check the load on the axle.'),
      check(
        T.jack,
        'Chock, fill the air, release the brakes, raise the wheel: it must turn freely. Local codes say who may work on brakes.',
      ),
      check(T.jack, 'Feel the raised wheel for play and noise of the bearing; look at oil level and seal.'),
      // T-49 (from memory), limit of pull-over
      check(
        null,
        'A tire that was at 120 °C (248 °F) or more is taken off and inspected inside before it runs again (trade practice).',
      ),
    ],
    sensorOrReal: [
      'Compare with the axle mate, not with the number: the outside of a tire is cooler than a sensor on the rim.',
      // T-44
      'Heat raises pressure: about 14 kPa (2 psi) for each 5.6 °C (10 °F) in a 690 kPa (100 psi) tire. Without it, doubt the sensor.',
      'Both tires of a pair warm: it is real, as a brake heats both. One that jumps by itself: sensor.',
      'After a cold night all sensors should be within 5 °C (9 °F) of the air, and of each other (common practice).',
    ],
  },
  'duals-unequal': {
    checks: [
      CHOCK,
      // T-36
      check(
        T.gauge,
        'Measure both tires cold with the same gauge. More than 34.5 kPa (5 psi) apart is too far (trade practice).',
      ),
      LET_OUT,
      check(T.soap, 'Wet the valves, the valve extension of the inner tire and the rim edge of the lower one.'),
      // T-34
      check(
        T.tread,
        'Compare the two: outside diameters within 6.4 mm (1/4 in), treads within 3.2 mm (4/32 in) (trade practice).',
      ),
      check(T.gauge, 'Set both to the same cold target, and measure again next morning.'),
    ],
    sensorOrReal: [
      'The gauge shows the same difference within 14 kPa (2 psi): believe the sensors (common practice).',
      'Outer and inner may be mixed up: change one by 20 kPa (3 psi) and see which reading moves.',
      'A hot brake warms the inner tire more. If the difference is gone in the cold, look at the brake.',
      SWAP,
    ],
  },
  'tire-sensor-silent': {
    checks: [
      CHOCK,
      check(
        T.gauge,
        'Measure the tire first: nobody watches it now, and what has hurt the sensor may have hurt the tire.',
      ),
      check(null, 'Was the wheel changed? A spare often has no sensor, or one that nobody has taught.'),
      check(T.sensor, 'Wake the sensor, or drive some minutes: many sleep while the truck stands.'),
      check(
        null,
        'One silent: the sensor. Several of a side or axle at once: antenna or receiver, its plug and its cable.',
      ),
      check(T.meter, 'Check supply and ground at the receiver’s plug, by its wiring diagram.'),
      check(T.computer, 'After the repair a survey (axlepost survey) shows whether it is heard, and from which wheel.'),
    ],
    sensorOrReal: [
      'Silence says nothing of the tire. Only a gauge does.',
      'Silent right after a fast fall of pressure: look at the wheel before the sensor.',
      'Swap wheels, or sensors on the valve, with the axle mate. Silent at the new place: sensor. The mate silent at this place: antenna.',
    ],
  },
  'tire-sensor-fault': {
    checks: [
      CHOCK,
      check(T.gauge, 'Measure the tire: what its sensor says does not count now.'),
      check(T.sensor, 'Read the sensor beside the wheel: number, battery, pressure, temperature.'),
      check(null, 'Several sensors faulty at once: look at receiver, antenna and their plugs first.'),
      check(
        T.core,
        'Let the air out before the sensor is unscrewed or the tire is taken off. A low battery means a new sensor.',
      ),
      check(T.computer, 'After the repair a survey (axlepost survey) shows whether it is heard, and from which wheel.'),
    ],
    sensorOrReal: [
      'The sender itself calls the sensor faulty, or it tells what no tire can have. That is no word on the tire.',
      GAUGE_AGREES,
      SWAP,
      MARK,
    ],
  },
  'layout-mismatch': {
    checks: [
      check(null, 'Look which trailer is coupled, and count its axles and tires.'),
      check(T.truckFile, 'Compare with the layout in the truck file. The finding names location, sender and bus.'),
      check(
        T.computer,
        'A survey of the recording (axlepost survey) lists every location that is heard, and from which sender.',
      ),
      check(T.gauge, 'Measure the tires that are not in the file: they are not watched.'),
      check(
        T.sensor,
        'Read the sensors wheel by wheel, and teach those that sit at another wheel than the sender believes.',
      ),
      check(T.computer, 'Put layout or tirePositions right in the truck file, and try it (axlepost check).'),
    ],
    sensorOrReal: [
      'No wheel is bad: a sensor speaks from where the truck file has none.',
      'Heard in the yard only: the sensor of a neighbour, or a spare. Heard on the road: it is on this combination.',
      'If a known wheel fell silent at the same time, its sensor now sits, or is taught, somewhere else.',
    ],
  },
  'trailer-not-seen': {
    checks: [
      check(null, 'Is a trailer coupled? If none is, nothing is broken: this says that it is gone.'),
      CHOCK,
      check(T.gauge, 'If one is, measure all of its tires and look at its brakes: nobody watches them.'),
      check(null, 'Look at the cable between the units: plugs home, pins straight and clean, cable not chafed.'),
      check(T.meter, 'Measure supply and ground at the trailer’s socket with the key on, then at its receiver.'),
      check(null, 'Try another tractor or another cable. What the fault goes along with is bad.'),
    ],
    sensorOrReal: [
      'All of its sensors silent at once are not all bad: cable, power or receiver.',
      'The trailer’s ABS lamp comes on with the key and goes out: it has power. Then look at its tire receiver.',
      'The number of the trailer in the report is not the one in the yard: another trailer, perhaps without sensors.',
    ],
  },
  'tires-off-target': {
    checks: [
      CHOCK,
      check(
        T.twoGauges,
        'Measure three tires cold with two gauges. Gauges within 7 kPa (1 psi) of each other are good (common practice).',
      ),
      // T-41, gas law of 4.5
      check(
        null,
        'Think of the day of filling: a tire set to 690 kPa (100 psi) at 18 °C (65 °F) shows 640 kPa (93 psi) at 0 °C (32 °F), by the gas law.',
      ),
      // T-04
      check(T.truckFile, 'Compare the target with the load table: not less than the load needs (49 CFR 393.75(i)).'),
      check(T.chuck, 'Set all tires to the cold target at the next cold start, with a gauge that was compared.'),
    ],
    sensorOrReal: [
      'The gauge agrees with the sensors: the fill is off. It does not: the sender or the truck file is.',
      // 4.5: 0.5 psi per 1,000 ft
      'All off by the same amount, and more so in the mountains: the sender counts from sea level. See "gauge: fixed" in the truck file.',
      'Such a sender tells about 11 kPa (1.6 psi) too little for each 1,000 m (3,300 ft) of height.',
    ],
  },
} as const satisfies Record<string, RuleChecks>;
