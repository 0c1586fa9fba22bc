import type { RuleName } from '../../config/resolved.js';
import { RULE_WORDS } from '../../daemon/alerts/words.js';
import type { Line } from '../data.js';
import type { Gathered } from '../gathered.js';
import { drawn, spanOf } from './kit.js';
import type { Scene } from './picture.js';

/** By which a brake counts as defective, at next-stop or worse: as the monitor takes them. */
const COUNTED: readonly RuleName[] = ['brake-overstroke', 'brake-dragging', 'brake-not-applying', 'brake-lining-low'];

/** A stretch in which a brake counted, by one rule. */
export interface Defect {
  subject: string;
  place: string;
  what: string;
  fromMs: number;
  toMs: number;
}

export function defective(gathered: Gathered): Defect[] {
  const endMs = spanOf(gathered).toMs;
  const open = new Map<string, Defect>();
  const found: Defect[] = [];
  for (const { atMs, alert, draft } of gathered.events) {
    if (!COUNTED.includes(draft.rule)) continue;
    const isOver = draft.change === 'cleared' || draft.change === 'closed' || draft.urgency === 'plan';
    const known = open.get(alert);
    if (isOver && known !== undefined) {
      known.toMs = atMs;
      open.delete(alert);
    } else if (!isOver && known === undefined) {
      const { subject, place, rule } = draft;
      const defect = { subject, place, what: RULE_WORDS[rule], fromMs: atMs, toMs: endMs + 1 };
      open.set(alert, defect);
      found.push(defect);
    }
  }
  return found;
}

/** Share of the brakes that counted, as a line with a step at each change; null: how many are fitted is not known. */
export function shareLine(scene: Scene, defects: readonly Defect[], fitted: number): Line | null {
  const { gathered, fromMs, toMs } = scene;
  if (fitted === 0 || toMs <= fromMs) return null;
  const at = (ms: number): number =>
    new Set(defects.filter((d) => d.fromMs <= ms && d.toMs > ms).map((d) => d.subject)).size / fitted;
  const changes = [...new Set(defects.flatMap((d) => [d.fromMs, d.toMs]))].filter((ms) => ms > fromMs && ms < toMs);
  const instants = [fromMs, ...changes.sort((a, b) => a - b).flatMap((ms) => [ms - 1, ms]), toMs];
  const points = { atMs: instants, value: instants.map(at), gapMs: toMs - fromMs + 1 };
  return drawn(gathered, points, 'share', { label: 'brakes with a finding', role: 'judged' });
}
