import type { BoardTruck } from '../../core/board-model.js';
import { nameOf } from './groups.js';

/** "fleet/truck"; a truck alone is of the fleet in which it is known, else of the first one. */
export function fullName(written: string, trucks: ReadonlyMap<string, BoardTruck>): string {
  if (written.includes('/')) return written;
  const all = [...trucks.values()];
  const known = all.find(({ truck }) => truck.toLowerCase() === written.toLowerCase());
  return known === undefined ? `${all[0]?.fleet ?? 'fleet'}/${written}` : nameOf(known);
}
