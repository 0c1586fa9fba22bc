import type { RuleName } from '../../config/resolved.js';
import { AIR_PICTURES } from './air-pictures.js';
import { BRAKE_PICTURES } from './brake-pictures.js';
import type { Depict } from './picture.js';
import { SYSTEM_PICTURES } from './system-pictures.js';
import { TIRE_PICTURES } from './tire-pictures.js';

/** What each rule has to show. */
export const PICTURES: Partial<Record<RuleName, Depict>> = {
  ...TIRE_PICTURES,
  ...BRAKE_PICTURES,
  ...AIR_PICTURES,
  ...SYSTEM_PICTURES,
};
