import { packageVersion } from '../../config/package.js';

export const VERSION = packageVersion();
