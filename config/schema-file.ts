import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { isMap, type Pair, parseDocument, type Scalar } from 'yaml';
import { loadDefaults } from './defaults.js';
import { truckSchema } from './json-schema.js';
import { packageRoot } from './package.js';
import type { RuleName } from './resolved.js';

/** What config/truck.schema.json has to hold. */
export function schemaText(): string {
  const yaml = readFileSync(join(packageRoot(), 'config/defaults.yaml'), 'utf8');
  return `${JSON.stringify(truckSchema(loadDefaults(), commentsOf(yaml)), null, 1)}\n`;
}

/** The comment behind each rule's name says what its numbers mean. */
function commentsOf(yaml: string): Partial<Record<RuleName, string>> {
  const { contents } = parseDocument(yaml);
  if (!isMap(contents)) return {};
  const pairs = contents.items as Pair<Scalar<string>, { commentBefore?: string | null }>[];
  return Object.fromEntries(
    pairs.flatMap(({ key, value }) => {
      const first = value?.commentBefore?.split('\n')[0]?.trim() ?? '';
      return first === '' ? [] : [[key.value, first.charAt(0).toUpperCase() + first.slice(1)]];
    }),
  );
}
