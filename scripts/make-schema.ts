import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { contractFiles } from '../adapters/mqtt/contract-files.js';
import { officeSchemaText } from '../config/office-json-schema.js';
import { messagesFolder, officeSchemaFile, schemaFile } from '../config/package.js';
import { schemaText } from '../config/schema-file.js';
import { examplesOfDocs } from './contract-examples.js';

/*
 * `npm run schema`, after a change of config/schema.ts, config/office-schema.ts, config/defaults.yaml, the messages or
 * docs/topics.md. Tests hold the files to them.
 */

writeFileSync(schemaFile(), schemaText());
writeFileSync(officeSchemaFile(), officeSchemaText());
mkdirSync(messagesFolder(), { recursive: true });
for (const [name, text] of Object.entries(contractFiles(examplesOfDocs())))
  writeFileSync(join(messagesFolder(), name), text);
