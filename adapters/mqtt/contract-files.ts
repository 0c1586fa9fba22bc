import { z } from 'zod';
import { packageVersion } from '../../config/package.js';
import { MESSAGES, type MessageContract } from './contract.js';
import { LIVE_ROOT, NAME_PATTERN, TOPIC_VERSION } from './topics.js';

/** draft-7 is what AsyncAPI takes without further words, and what most generators of code read. */
const DRAFT = 'draft-7';

const text = (value: unknown): string => `${JSON.stringify(value, null, 1)}\n`;

function schemaOf({ name, what, schema, maxBytes, topic }: MessageContract): Record<string, unknown> {
  return {
    $schema: 'http://json-schema.org/draft-07/schema#',
    title: name,
    description: `${what} Topic ${topic}, at most ${maxBytes} bytes of UTF-8. Ignore keys that you do not know.`,
    // As a reader has it: keys that a later version adds are no mistake.
    ...z.toJSONSchema(schema, { target: DRAFT, io: 'input' }),
  };
}

/**
 * What docs/messages/ has to hold, by file name: a JSON Schema for each kind of message, and an AsyncAPI 3.0 document of the
 * topics as a whole, seen from the truck.
 * @param examples by name of the message
 */
export function contractFiles(examples: Record<string, unknown>): Record<string, string> {
  const files = MESSAGES.map((one): [string, string] => [`${one.name}.schema.json`, text(schemaOf(one))]);
  return { ...Object.fromEntries(files), 'asyncapi.json': text(asyncApi(examples)) };
}

function asyncApi(examples: Record<string, unknown>): Record<string, unknown> {
  const topics = [...new Set(MESSAGES.map(({ topic }) => topic))];
  const by = <T>(make: (topic: string, of: MessageContract[]) => T): Record<string, T> =>
    Object.fromEntries(topics.map((topic) => [topic, make(topic, messagesOf(topic))]));
  const messagesOf = (topic: string): MessageContract[] => MESSAGES.filter((one) => one.topic === topic);
  return {
    asyncapi: '3.0.0',
    info: {
      title: 'Axlepost: trucks and their office',
      version: `${TOPIC_VERSION}.0.0`,
      description: `Made from the schemas of Axlepost ${packageVersion()}. docs/topics.md says what readers may rely on. Axlepost advises; it does not replace the driver's inspection, a gauge, a ruler, local codes or a licensed mechanic.`,
      license: { name: 'Apache-2.0' },
    },
    defaultContentType: 'application/json',
    channels: by((topic, of) => ({
      address: `${LIVE_ROOT}/${TOPIC_VERSION}/{fleet}/{truck}/${topic}`,
      description: of.map(({ what }) => what).join(' '),
      messages: Object.fromEntries(of.map(({ name }) => [name, { $ref: `#/components/messages/${name}` }])),
      parameters: {
        fleet: { description: `Matches ${NAME_PATTERN.source}` },
        truck: { description: `Matches ${NAME_PATTERN.source}` },
      },
    })),
    operations: by((topic, [first]) => ({
      action: first!.from === 'truck' ? 'send' : 'receive',
      channel: { $ref: `#/channels/${topic}` },
      summary: `${first!.from === 'truck' ? 'The truck publishes' : 'The truck subscribes'}; QoS 1, ${first!.retained ? 'retained' : 'not retained'}.`,
      bindings: { mqtt: { qos: 1, retain: first!.retained, bindingVersion: '0.2.0' } },
    })),
    components: {
      messages: Object.fromEntries(
        MESSAGES.map(({ name, what }) => [
          name,
          {
            name,
            summary: what,
            payload: { $ref: `./${name}.schema.json` },
            examples: [{ payload: examples[name] }],
          },
        ]),
      ),
    },
  };
}
