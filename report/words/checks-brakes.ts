import { check, type RuleChecks } from './rule-checks.js';
import { TOOLS as T } from './tools.js';

/* Figures have the row of the fact sheet on regulations beside them (B-08); those without one are common practice. */

const CHOCK = check(
  T.chocks,
  'Chock the wheels on both sides before anybody goes under. Local codes say who may work on brakes.',
);
const NO_OPEN = check(
  null,
  'Never open a spring brake chamber: its spring can kill. It is caged first, by somebody who was trained for it.',
);
// B-08
const FILL = check(
  T.dash,
  'Fill both tanks to 620 to 690 kPa (90 to 100 psi), stop the engine, and release the parking brake with the wheels chocked.',
);
// B-07, B-08
const MEASURE = check(
  T.ruler,
  'Mark the pushrod at the face of the chamber. Hands off while a helper presses the pedal down and holds it; then measure how far the mark has moved.',
);
// B-01, B-02
const SAME_PARTS = check(
  null,
  'Compare with the other end of the axle: same chamber size, same length of slack adjuster (49 CFR 393.47(b) and (c)).',
);
// B-39
const FIND_CAUSE = check(
  null,
  'Find the cause: adjuster, its linkage, cam bushings, lining, drum, chamber. Do not just readjust: that hides it (driver manuals).',
);

const RULER_AGREES =
  'Measure at the same pressure. Ruler and report within 3 mm (1/8 in) of each other: believe the sensor (common practice).';
const SWAP =
  'Swap the sensor with that of its axle mate. If the fault goes along, the sensor is bad; if it stays, the brake is.';
const MARK =
  'Brake good and sensor bad: mark it (axlepost mark), so that it is not judged until it is replaced. Use a ruler until then.';

export const BRAKE_CHECKS = {
  'brake-overstroke': {
    checks: [
      CHOCK,
      // 1.2: unknown chamber
      check(
        T.truckFile,
        'Read type and rated stroke on the chamber, and compare with the truck file. No long-stroke mark to be seen: take it for a standard one.',
      ),
      FILL,
      MEASURE,
      // B-05, 1.2
      check(
        null,
        'Greater than the limit is a violation, equal to it is legal (49 CFR 393.47(e)). Type 30: 50.8 mm (2 in), long stroke 63.5 mm (2 1/2 in).',
      ),
      SAME_PARTS,
      FIND_CAUSE,
    ],
    sensorOrReal: [
      RULER_AGREES,
      // B-07, B-08
      'The ruler decides. Periodic inspection measures at 550 to 620 kPa (80 to 90 psi) of tank pressure, the roadside at 620 to 690 kPa (90 to 100 psi).',
      // B-40
      'A hot drum is wider and makes the stroke longer. Measure cold, and think of the grade before the alert.',
      SWAP,
    ],
  },
  'brake-dragging': {
    checks: [
      check(T.extinguisher, 'Look for smoke and flames from a distance, and stay clear of the tire.'),
      check(
        T.heat,
        'Without touching, while they are hot: compare drums or discs left and right. A brake that drags is clearly hotter than its axle mate.',
      ),
      CHOCK,
      check(T.ruler, 'Tanks full, parking brake released: the pushrod must rest as far in as that of its axle mate.'),
      // D-09
      check(
        T.testGauges,
        'Measure the air of the spring brakes: with too little they stay half on. They come on between 138 and 310 kPa (20 and 45 psi) (driver manuals). Never open their chamber.',
      ),
      check(
        T.jack,
        'Raise the wheel and turn it by hand. Then adjuster, return spring, cam, caliper, and hoses that hold their pressure.',
      ),
      check(null, 'Heat goes on: inspect lining, hub seal, bearing and both tires of that wheel.'),
    ],
    sensorOrReal: [
      'Heat decides. Hotter than its axle mate after ten minutes on the road: it drags. As cool as the mate: doubt the sensor.',
      'Both tires of that wheel grow warmer in the report than their mates: it is real.',
      'A sensor that moved on its bracket tells another rest. Measure the rest with a ruler.',
      SWAP,
    ],
  },
  'brake-not-applying': {
    checks: [
      CHOCK,
      FILL,
      // B-13
      check(
        null,
        'A helper applies the brake. See whether pushrod and shoes move: an axle without braking action fails (49 CFR 396 App. A 1.a(1)).',
      ),
      // B-14
      check(
        T.soap,
        'Wet the chamber, its clamp and its hose. A leak that can be heard there fails too (49 CFR 396 App. A 1.a(4)).',
      ),
      check(
        T.testGauges,
        'Measure the pressure at this chamber and at its axle mate. None here: hose, coupling, relay or modulator valve.',
      ),
      NO_OPEN,
      check(null, 'Pressure and no stroke: pushrod, clevis pin, adjuster, cam, seized caliper.'),
    ],
    sensorOrReal: [
      'The pushrod moves by the ruler, and the report says that it does not: sensor or its wiring.',
      // limits of the rule
      'The report counts a brake that moves less than 5 mm (0.2 in) at 140 kPa (20 psi) or more. A short stab may be missed.',
      'Heat tells too: after some stops a brake that works is warm. One that stays cold does nothing.',
      SWAP,
    ],
  },
  'brake-stroke-uneven': {
    checks: [
      CHOCK,
      SAME_PARTS,
      FILL,
      MEASURE,
      check(
        T.ruler,
        'Measure the other side in the same application. More than 12.7 mm (1/2 in) apart is too much (common practice).',
      ),
      FIND_CAUSE,
    ],
    sensorOrReal: [
      RULER_AGREES,
      'One side changed from one day to the next and the other did not: look there, at brake and sensor.',
      'The truck pulls to one side when braking, or one drum is hotter: it is real.',
      SWAP,
    ],
  },
  'brake-stroke-growing': {
    checks: [
      CHOCK,
      FILL,
      MEASURE,
      // B-36, B-37
      check(
        T.pry,
        'Measure the free stroke with the brake released: 10 to 16 mm (3/8 to 5/8 in) with an automatic adjuster on a drum (common practice).',
      ),
      check(T.lining, 'Measure the lining left. Wear alone is taken up by an automatic adjuster that works.'),
      FIND_CAUSE,
    ],
    sensorOrReal: [
      RULER_AGREES,
      'Strokes of both sides growing alike: wear, or the season’s heat. One side alone: its adjuster.',
      'A stroke that fell back by itself was readjusted by somebody. Ask, and look for the cause all the same.',
    ],
  },
  'brake-lining-low': {
    checks: [
      CHOCK,
      check(T.lining, 'Look through the inspection hole and measure the thinnest place.'),
      // B-03, B-04
      check(
        null,
        'Least lining: 6.4 mm (1/4 in) in a drum, 3.2 mm (1/8 in) in a disc brake; 4.8 mm (3/16 in) for a strip on a steer drum (49 CFR 393.47(d)).',
      ),
      check(T.lamp, 'Look for oil, cracks and loose rivets, and at drum or disc.'),
      check(T.lining, 'Measure the other side of the axle. Linings are replaced by axle.'),
      check(
        T.jack,
        'One side much thinner: look for a brake that drags, or one that does not apply on the other side.',
      ),
    ],
    sensorOrReal: [
      'The gauge decides: a share of lining says nothing of millimetres.',
      'A wear sensor with a broken wire often tells "worn". Look at its cable first.',
      'Several wheels worn out from one day to the next is the control unit, not the linings.',
    ],
  },
  'brake-hot': {
    checks: [
      check(T.extinguisher, 'Look for smoke and flames from a distance, and stay clear of the tires.'),
      check(
        T.heat,
        'Measure all drums or discs within a few minutes, left and right. The warning does not say which brake.',
      ),
      check(
        null,
        'One hot: it drags. All hot: speed, grade, load, or an engine brake that does not help. Some cold: those do not work.',
      ),
      CHOCK,
      FILL,
      check(T.ruler, 'When they are cold, measure the stroke of the hot ones and of the cold ones.'),
    ],
    sensorOrReal: [
      'The brake controller works out the heat in its own way. A thermometer within some minutes tells whether it was right.',
      // B-54
      'Infrared figures are for comparing brakes with each other, not for passing or failing one.',
      'Tires beside the brake warmer than their mates in the report: it is real.',
    ],
  },
  'brakes-defective-share': {
    checks: [
      CHOCK,
      check(null, 'Do the checks of every brake that is listed under this one.'),
      FILL,
      check(T.ruler, 'Measure all strokes of the combination in one go, and write them down by wheel.'),
      // B-20, B-22
      check(
        null,
        'Count what the ruler found: 20 % or more of the brakes is out of service at the roadside. Two of ten are enough.',
      ),
      check(null, 'Do not drive on before a licensed mechanic has released it, as local codes say.'),
    ],
    sensorOrReal: [
      'The count is as good as the findings under it: settle each of them first.',
      'An inspector measures anew. This count says what to expect, and is no verdict.',
      'All brakes of one unit at once: look at its air and its stroke monitor before the brakes.',
    ],
  },
  'brake-sensor-fault': {
    checks: [
      CHOCK,
      FILL,
      MEASURE,
      check(T.lamp, 'Look at the sensor: bracket, magnet or target, dirt, chafed cable, water in the plug.'),
      check(T.meter, 'Measure supply, ground and signal at its plug, by the wiring diagram.'),
      check(null, 'Several faulty at once: look at the stroke monitor, its fuse and its ground.'),
      check(null, 'After the repair apply the brake some times: the fault must stay away for 30 s and more.'),
    ],
    sensorOrReal: [
      'The monitor itself calls the sensor faulty. That is no word on the brake: only a ruler is.',
      SWAP,
      MARK,
    ],
  },
} as const satisfies Record<string, RuleChecks>;
