import { writeFileSync } from 'node:fs';
import { schemaFile } from '../config/package.js';
import { schemaText } from '../config/schema-file.js';

/* `npm run schema`, after a change of config/schema.ts or config/defaults.yaml. A test holds the file to them. */

writeFileSync(schemaFile(), schemaText());
