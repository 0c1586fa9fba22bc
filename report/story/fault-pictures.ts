import { shown } from '../../config/show.js';
import { FAULT_CAUSES } from '../../daemon/alerts/relations.js';
import { RULE_WORDS } from '../../daemon/alerts/words.js';
import { faultArea } from '../../daemon/j1939/dm1.js';
import { placeOf } from '../../daemon/truck/subjects.js';
import type { Hint, Plot, Words } from '../data.js';
import type { GatheredEvent } from '../gathered.js';
import { airLimits, airPlot } from './air-plots.js';
import { atS, lasting, pointsOf, showOf, spanOf } from './kit.js';
import { motionPlot } from './motion-plot.js';
import type { Depict, Scene } from './picture.js';

/** Codes and findings this close belong together. */
const NEAR_MS = 10 * 60_000;
/** SAE J1939-73: these speak of the circuit or of the sender, and not of the value that is measured. */
const ELECTRICAL = [2, 3, 4, 5, 6, 8, 9, 12, 13, 19];
const LOW = [1, 17, 18];
/** SPN 117, 118, 1087 and 1088 tell the service circuits. */
const CIRCUIT_OF: Record<number, string> = {
  117: 'air/primary',
  1087: 'air/primary',
  118: 'air/secondary',
  1088: 'air/secondary',
};

/** `fault/<bus>/<sa>/<spn>/<fmi>`. */
function partsOf(subject: string): { source: string; spn: number; fmi: number } {
  const [, bus = '', sa = '', spn, fmi] = subject.split('/');
  return { source: `${bus}/${sa}`, spn: Number(spn), fmi: Number(fmi) };
}

const textOf = ({ draft }: GatheredEvent): string =>
  draft.measured !== null && 'text' in draft.measured ? draft.measured.text : draft.place;

export const faultCode: Depict = (scene) => {
  const { gathered, alert } = scene;
  const { source, spn, fmi } = partsOf(alert.subject);
  const first = alert.events[0];
  const saw: Words[] = [];
  if (first !== undefined)
    saw.push([
      `Source address ${source.split('/')[1]} told ${textOf(first)}, from `,
      { atS: atS(gathered, alert.fromMs) },
      ` on${durationWords(scene)}.`,
    ]);
  saw.push(...otherCodes(scene, (subject) => partsOf(subject).source === source, 'The same unit'));
  const agreed = findingsOf(scene);
  saw.push(
    ...agreed.map(
      (e): Words => [
        `Axlepost itself found: ${e.draft.place}, ${RULE_WORDS[e.draft.rule]}, at `,
        { atS: atS(gathered, e.atMs) },
        '.',
      ],
    ),
  );
  const hints = [electricalHint(spn, fmi), pressureHint(scene, spn, fmi)].filter((x) => x !== null);
  return { plots: plotsFor(scene, spn), saw, hints };
};

function durationWords({ alert }: Scene): string {
  return alert.toMs === null ? ', until the end of these data' : `, for ${lasting((alert.toMs - alert.fromMs) / 1000)}`;
}

function plotsFor(scene: Scene, spn: number): Plot[] {
  const air = faultArea(spn) === 'air-pressure' ? airPlot(scene, airLimits(scene.gathered.config)) : null;
  return [air, motionPlot(scene)].filter((plot) => plot !== null);
}

/** More codes are counted and not listed. */
const MOST_CODES = 5;

function otherCodes({ gathered, alert }: Scene, isWanted: (subject: string) => boolean, who: string): Words[] {
  const others = gathered.events.filter(
    ({ atMs, draft }) =>
      draft.rule === 'fault-code' &&
      draft.change === 'raised' &&
      draft.subject !== alert.subject &&
      isWanted(draft.subject) &&
      Math.abs(atMs - alert.fromMs) <= NEAR_MS,
  );
  if (others.length === 0) return [];
  const told = others
    .slice(0, MOST_CODES)
    .flatMap((e, k): Words => [`${k === 0 ? '' : '; '}${textOf(e)}, at `, { atS: atS(gathered, e.atMs) }]);
  const more = others.length > MOST_CODES ? `; and ${others.length - MOST_CODES} more` : '';
  return [[`${who} told besides: `, ...told, `${more}.`]];
}

/** Raises of the rules that judge what the code is about, near it. */
function findingsOf({ gathered, alert }: Scene): GatheredEvent[] {
  const area = faultArea(partsOf(alert.subject).spn);
  const rules = (area === null ? undefined : FAULT_CAUSES[area]) ?? [];
  const until = (alert.toMs ?? spanOf(gathered).toMs) + NEAR_MS;
  return gathered.events
    .filter(
      ({ draft, atMs }) =>
        rules.includes(draft.rule) && draft.change === 'raised' && atMs >= alert.fromMs - NEAR_MS && atMs <= until,
    )
    .slice(0, MOST_CODES);
}

const electricalHint = (spn: number, fmi: number): Hint | null =>
  ELECTRICAL.includes(fmi) && faultArea(spn) !== 'network'
    ? {
        points: 'sensor',
        words: [
          `Failure mode ${fmi} speaks of the sensor, its wiring or its data, and not of the value that it measures.`,
        ],
      }
    : null;

/** So far above the warning it is not low. kPa */
const MARGIN_KPA = 30;

/** A code that calls a circuit low while the circuit told more all the time. */
function pressureHint({ gathered, alert }: Scene, spn: number, fmi: number): Hint | null {
  const circuit = CIRCUIT_OF[spn];
  const lowKpa = gathered.config?.rules['air-low'].criteria['pull-over']?.clear ?? null;
  if (circuit === undefined || !LOW.includes(fmi) || lowKpa === null) return null;
  const points = pointsOf(gathered, circuit, 'pressure', alert.fromMs - NEAR_MS, alert.fromMs + 60_000);
  if (points === null) return null;
  const lowest = (points.low ?? points.value).reduce((a, b) => Math.min(a, b));
  if (lowest < lowKpa + MARGIN_KPA) return null;
  return {
    points: 'sensor',
    words: [
      `The code calls the pressure low, and on the bus the ${placeOf(circuit)} never told less than ${shown(lowest, 'kPa', showOf(gathered))} in the ten minutes before.`,
    ],
  };
}

export const stopLamp: Depict = (scene) => {
  const { gathered, alert } = scene;
  const bus = alert.subject.split('/')[1];
  const codes = otherCodes(scene, (subject) => subject.split('/')[1] === bus, `On bus ${bus} some unit`);
  const saw: Words[] = [
    ['The red stop lamp was on from ', { atS: atS(gathered, alert.fromMs) }, ` on${durationWords(scene)}.`],
    ...codes,
  ];
  if (codes.length === 0)
    saw.push(['No code about tires, brakes or air came with it: what else the unit has to say is not read here.']);
  return { plots: [motionPlot(scene)].filter((plot) => plot !== null), saw, hints: [] };
};
