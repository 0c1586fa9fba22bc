import type { RuleName } from '../../config/resolved.js';
import type { Depict } from './picture.js';

export const AIR_PICTURES: Partial<Record<RuleName, Depict>> = {};
