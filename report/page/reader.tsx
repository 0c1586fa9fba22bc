import { createContext } from 'preact';
import { useContext } from 'preact/hooks';
import type { AxisUnit, ReportData } from '../data.js';
import type { Clock } from './words/time.js';
import type { Show } from './words/units.js';

/** What the reader has chosen, and what all of the page is about. */
export interface Reader {
  data: ReportData;
  clock: Clock;
  show: Show;
  /** Name of the unit that an axis is shown in. */
  unitOf: (unit: AxisUnit) => string;
}

export const ReaderContext = createContext<Reader | null>(null);

export const useReader = (): Reader => useContext(ReaderContext)!;
