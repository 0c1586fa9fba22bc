import type { TruckConfig } from '../../config/resolved.js';
import type { EventDraft } from '../alerts/event.js';
import type { StreamMs } from '../time.js';
import type { Context } from './context.js';

/** Two decimals of a degree are about a kilometre, five a metre. */
const PLACES = { rounded: 100, exact: 1e5 } as const;

/** Speed and place as events tell them, the place as far as the truck file lets it be told. */
export function vehicleAt(
  context: Context,
  t: StreamMs,
  position: TruckConfig['show']['position'],
): EventDraft['vehicle'] {
  const v = context.vehicle(t);
  if (position === 'none') return { ...v, lat: null, lon: null, ageS: null };
  const places = PLACES[position];
  const rounded = (x: number | null): number | null => (x === null ? null : Math.round(x * places) / places);
  return { ...v, lat: rounded(v.lat), lon: rounded(v.lon) };
}
