import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import * as messages from '../../../adapters/mqtt/messages.js';
import { startCheckSchema, tripSchema } from '../../../adapters/mqtt/trip-messages.js';

const text = readFileSync(new URL('../../../docs/topics.md', import.meta.url), 'utf8');
const SCHEMAS = {
  presence: messages.presenceSchema,
  event: messages.eventSchema,
  open: messages.openSchema,
  reading: messages.readingSchema,
  trip: tripSchema,
  'start-check': startCheckSchema,
  gap: messages.gapSchema,
  answer: messages.answerSchema,
};

describe('docs/topics.md', () => {
  for (const [name, schema] of Object.entries(SCHEMAS)) {
    it(`the example of ${name} is what the schema reads, key for key`, () => {
      const json = new RegExp(`^###? ${name}$[\\s\\S]*?\`\`\`json\\n([\\s\\S]*?)\`\`\``, 'm').exec(text)?.[1];
      const example: unknown = JSON.parse(json ?? 'null');
      expect(schema.strict().parse(example)).toEqual(example);
    });
  }
});
