import type { Criterion } from '../../config/resolved.js';
import type { Hint, Plot, Words } from '../data.js';
import type { Gathered, GatheredEvent } from '../gathered.js';

/** An alert with everything that was said of it. */
export interface GatheredAlert {
  id: string;
  rule: GatheredEvent['draft']['rule'];
  subject: string;
  place: string;
  events: GatheredEvent[];
  fromMs: number;
  /** Its end, or null while open. */
  toMs: number | null;
  /** Limits of its rule by name, as the truck file in force has them; empty: not known. */
  criteria: Record<string, Criterion>;
  /** Other constants of its rule, in the SI unit that each name ends with; empty: not known. */
  constants: Record<string, number>;
}

export interface Scene {
  gathered: Gathered;
  alert: GatheredAlert;
  /** The minutes that are shown of it. */
  fromMs: number;
  toMs: number;
}

/** What one family of rules has to show of an alert: nothing of it is known to the page. */
export interface Picture {
  plots: Plot[];
  saw: Words[];
  hints: Hint[];
}

export type Depict = (scene: Scene) => Picture;
