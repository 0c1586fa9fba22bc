import type { Json } from './json-forms.js';
import { officeJson } from './office-json.js';
import { OFFICE_SECTIONS } from './office-schema.js';
import { OFFICE_TOLD } from './office-words.js';
import { map } from './scalars.js';

/** What config/office.schema.json has to hold: the office file as a JSON Schema, for editors. Made as the truck file's is. */
export function officeSchemaText(): string {
  const schema = {
    $schema: 'http://json-schema.org/draft-07/schema#',
    title: 'Axlepost office file',
    description:
      'What `axlepost office` serves, where it keeps it, who may look, and what leaves it. Every entry may be left out.',
    ...told(officeJson(map(OFFICE_SECTIONS)), ''),
  };
  return `${JSON.stringify(schema, null, 1)}\n`;
}

/** With words and defaults. `path` as in office-words.ts. */
function told(schema: Json, path: string): Json {
  const { text, byDefault, instead, also } = OFFICE_TOLD[path] ?? {};
  return {
    ...(instead ?? { ...below(schema, path), ...also }),
    ...(text === undefined ? {} : { description: text }),
    ...(byDefault === undefined ? {} : { default: byDefault }),
  };
}

function below(schema: Json, path: string): Json {
  const done: Json = { ...schema };
  const inner = (key: string): string => (path === '' ? key : `${path}.${key}`);
  if (schema.properties !== undefined) {
    const entries = Object.entries(schema.properties as Record<string, Json>);
    done.properties = Object.fromEntries(entries.map(([key, value]) => [key, told(value, inner(key))]));
  }
  for (const any of ['additionalProperties', 'items']) {
    if (typeof schema[any] === 'object') done[any] = told(schema[any] as Json, inner('*'));
  }
  // The words of a choice stand beside it.
  if (schema.anyOf !== undefined) done.anyOf = (schema.anyOf as Json[]).map((choice) => below(choice, path));
  return done;
}
