/** Root of what a truck says now. */
export const LIVE_ROOT = 'axlepost';
/** Root of what a replay says; nothing under it is retained. */
export const REPLAY_ROOT = 'axlepost-replay';
/** Version of topics and messages: grows only if something is renamed or removed. */
export const TOPIC_VERSION = '1';

export type TopicName = 'presence' | 'event' | 'open' | 'reading' | 'trip' | 'gap' | 'answer';

/** fleet and truck in topics: no separator, no wildcard. */
export const NAME_PATTERN = /^[A-Za-z0-9_-]{1,32}$/;

export function topicOf(root: string, fleet: string, truck: string, name: TopicName): string {
  return `${root}/${TOPIC_VERSION}/${fleet}/${truck}/${name}`;
}

/** Filter for one kind of message of one fleet, or of all with `+`. */
export function topicFilter(root: string, fleet: string, name: TopicName): string {
  return `${root}/${TOPIC_VERSION}/${fleet}/+/${name}`;
}

/** fleet, truck and last level of a topic under the root, or null when it is none of ours. */
export function parseTopic(root: string, topic: string): { fleet: string; truck: string; name: string } | null {
  if (!topic.startsWith(`${root}/${TOPIC_VERSION}/`)) return null;
  const [fleet = '', truck = '', name = '', ...rest] = topic.slice(root.length + TOPIC_VERSION.length + 2).split('/');
  if (rest.length > 0 || !NAME_PATTERN.test(fleet) || !NAME_PATTERN.test(truck)) return null;
  return { fleet, truck, name };
}
