import { z } from 'zod';
import { type Json, jsonOf } from './json-forms.js';
import { officeFormOf } from './office-scalars.js';
import { formOf } from './scalars.js';

/** A part of the office file as a JSON Schema (draft 7), without words. */
export function officeJson(schema: z.ZodType): Json {
  const { $schema: _, ...json } = z.toJSONSchema(schema, {
    target: 'draft-7',
    io: 'input',
    override: ({ zodSchema, jsonSchema }) => {
      const form = formOf(zodSchema);
      const instead = form === undefined ? officeFormOf(zodSchema) : jsonOf(form);
      if (instead === undefined) return;
      for (const key of Object.keys(jsonSchema)) delete (jsonSchema as Json)[key];
      Object.assign(jsonSchema, instead);
    },
  }) as Json;
  return json;
}
