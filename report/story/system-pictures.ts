import type { RuleName } from '../../config/resolved.js';
import type { Depict } from './picture.js';

export const SYSTEM_PICTURES: Partial<Record<RuleName, Depict>> = {};
