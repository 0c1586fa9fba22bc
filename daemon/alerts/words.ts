import type { RuleName, TruckConfig, Urgency } from '../../config/resolved.js';
import { shown } from '../../config/show.js';
import type { MeasuredMessage } from './message.js';

/** What each rule says about its subject, in words. */
export const RULE_WORDS: Record<RuleName, string> = {
  'tire-underinflated': 'pressure below target',
  'tire-losing-air': 'losing air',
  'tire-overinflated': 'pressure above target',
  'tire-hot': 'tire too hot',
  'duals-unequal': 'dual tires carry unequal pressure',
  'tire-sensor-silent': 'tire sensor is silent',
  'tire-sensor-fault': 'tire sensor reports a fault',
  'layout-mismatch': 'tires heard that the truck file does not have',
  'trailer-not-seen': 'trailer is not heard',
  'tires-off-target': 'all tires stand off their target',
  'brake-overstroke': 'pushrod stroke too long',
  'brake-dragging': 'brake does not release',
  'brake-not-applying': 'brake does not act',
  'brake-stroke-uneven': 'strokes differ left to right',
  'brake-stroke-growing': 'stroke is growing',
  'brake-lining-low': 'lining nearly worn',
  'brake-hot': 'brake too hot',
  'brakes-defective-share': 'share of defective brakes',
  'brake-sensor-fault': 'stroke sensor reports a fault',
  'air-low': 'service air pressure low',
  'air-leaking': 'air leaks at standstill',
  'air-builds-slowly': 'air pressure builds slowly',
  'air-cut-in-low': 'governor cuts in low',
  'air-cut-out-high': 'governor cuts out high',
  'compressor-overworked': 'compressor works too much',
  'circuits-unequal': 'brake circuits unequal',
  'fault-code': 'fault code',
  'stop-lamp': 'red stop lamp',
  'bus-silent': 'vehicle bus is silent',
  'bus-off': 'vehicle bus is disturbed',
  'source-silent': 'a control unit is silent',
  'test-message': 'test message',
};

/** As they stand in a sentence or a table. */
export const URGENCY_NAMES: Record<Urgency, string> = {
  plan: 'plan',
  'next-stop': 'next stop',
  'pull-over': 'pull over',
};

/** The measured value in words, in the units that the truck file asks for. @param ended the alert is over */
export function measuredWords(m: MeasuredMessage | null, show: TruckConfig['show'], ended = false): string {
  if (m === null) return '';
  if ('silentS' in m) {
    if (ended) return 'heard again';
    return m.silentS >= 120 ? `silent for ${Math.round(m.silentS / 60)} min` : `silent for ${m.silentS} s`;
  }
  // The state that was judged; over, it may still name what is no longer so.
  if ('code' in m) return m.of !== undefined ? `${m.text}, ${m.of} applications` : ended ? '' : m.text;
  const value = `${m.quantity} ${shown(m.value, m.unit, show)}`;
  const limit = m.limit === undefined ? '' : ` (limit ${shown(m.limit, m.unit, show)})`;
  return `${value}${limit}${m.quality === 'disputed' ? ', senders disagree' : ''}`;
}
