import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { MESSAGES } from '../adapters/mqtt/contract.js';
import { packageRoot } from '../config/package.js';

/** The example of each kind of message in docs/topics.md: the first JSON block below its heading. Throws when one is missing. */
export function examplesOfDocs(): Record<string, unknown> {
  const page = readFileSync(join(packageRoot(), 'docs/topics.md'), 'utf8');
  return Object.fromEntries(
    MESSAGES.map(({ name }) => {
      const json = new RegExp(`^###? ${name}$[\\s\\S]*?\`\`\`json\\n([\\s\\S]*?)\`\`\``, 'm').exec(page)?.[1];
      if (json === undefined) throw new Error(`docs/topics.md has no example of ${name}`);
      return [name, JSON.parse(json)];
    }),
  );
}
