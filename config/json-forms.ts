import { type Dimension, unitsOf } from './quantities.js';
import { type Form, NAME, VARIABLE } from './scalars.js';

/**
 * How the scalars of a truck file look to an editor. An editor reads YAML by its core schema, where `120` is a number and
 * `true` a boolean, while the loader reads text: so each form says which of them it takes, and never refuses what the
 * loader would accept. The other way round it may let pass what only the loader can see, such as a value out of range.
 */

export type Json = { [key: string]: unknown };

const TEXT = ['string', 'number', 'boolean'];

export function jsonOf(form: Form): Json {
  switch (form.is) {
    case 'quantity':
      return quantityJson(form.dimension);
    case 'whole':
      return {
        anyOf: [
          { type: 'integer', minimum: form.low, maximum: form.high },
          { type: 'string', pattern: '^\\s*(0[xX][0-9a-fA-F]+|\\d+)\\s*$' },
        ],
      };
    case 'yesNo':
      return {
        anyOf: [{ enum: ['yes', 'no'] }, { type: 'boolean' }, oneOfWords(['true', 'on', 'false', 'off', 'yes', 'no'])],
      };
    case 'word':
      return { anyOf: [{ enum: form.words }, oneOfWords(form.words, form.spellings)] };
    case 'name':
      return { type: TEXT, pattern: NAME.source };
    case 'words':
      return { type: TEXT, minLength: 1, maxLength: form.longest, pattern: '^[^\\u0000-\\u001f\\u007f-\\u009f]+$' };
    case 'variable':
      return { type: ['string', 'boolean'], pattern: VARIABLE.source };
    case 'instant':
      return { type: 'string', format: 'date-time' };
  }
}

/** A number that a unit must follow; plain numbers alone have none. */
function quantityJson(dimension: Dimension): Json {
  return dimension === 'number' ? { anyOf: [{ type: 'number' }, withUnits([''])] } : withUnits(unitsOf(dimension));
}

const NUMBER = '[+-]?((\\d+\\s+)?\\d+/\\d+|(\\d+(\\.\\d+)?|\\.\\d+)([eE][+-]?\\d+)?)';

export function withUnits(units: readonly string[]): Json {
  return { type: 'string', pattern: `^\\s*${NUMBER}\\s*(${units.map(anyCase).join('|')})\\s*$` };
}

/** "2 of 3" */
export const COUNT: Json = { type: 'string', pattern: '^\\s*\\d+\\s+of\\s+\\d+\\s*$' };

export const oneOfWords = (words: readonly string[], exact: readonly string[] = []): Json => ({
  type: 'string',
  pattern: `^(${[...words.map(anyCase), ...exact].join('|')})$`,
});

/** JSON Schema's patterns have no flag for it. U+212A is the sign for kelvin, whose small letter is k. */
function anyCase(text: string): string {
  return [...text]
    .map((char) => {
      const cases = new Set([char, char.toLowerCase(), char.toUpperCase()]);
      if (cases.has('k')) cases.add('\\u212A');
      return cases.size === 1 ? char : `[${[...cases].join('')}]`;
    })
    .join('');
}
