import type { SeriesQuantity } from '../gathered.js';

/** What a line in a plot shows. */
export const QUANTITY_WORDS: Record<SeriesQuantity, string> = {
  pressure: 'pressure as sent',
  'cold pressure': 'cold-equivalent pressure',
  temperature: 'temperature',
  'stroke state': 'brake state',
  stroke: 'pushrod stroke',
  speed: 'speed',
  'engine speed': 'engine speed',
  'application pressure': 'application pressure',
};
