import mqtt, { type IClientOptions, type MqttClient } from 'mqtt';
import type { EmbeddedBroker } from '../../../adapters/mqtt/embedded-broker.js';
import { BrokerLink, type BrokerLinkOptions } from '../../../office/broker/link.js';
import type { Incoming, TruckKey } from '../../../office/core/model.js';
import { cleanup, QUICK } from '../../adapters/mqtt/harness.js';

export interface Office {
  link: BrokerLink;
  /** What it has taken, in order. */
  taken: { key: TruckKey; incoming: Incoming }[];
  /** Each list of notes that it has told. */
  notes: string[][];
}

/** A link with short waiting times, which ends with the test. */
export function makeLink(url: string, options: Partial<BrokerLinkOptions> = {}): Office {
  const office: Omit<Office, 'link'> = { taken: [], notes: [] };
  const link = BrokerLink.start({
    url,
    fleets: ['northline'],
    sharedGroup: null,
    take: (key, incoming) => void office.taken.push({ key, incoming }),
    onNotes: (notes) => office.notes.push(notes),
    ...options,
    timings: { ...QUICK, ...options.timings },
  });
  cleanup(() => link.close());
  return { link, ...office };
}

/** A bare client, for what no truck of ours says, and to look at what there is. */
export async function bareClient(url: string, options: IClientOptions = {}): Promise<MqttClient> {
  const client = mqtt.connect(url, { reconnectPeriod: 0, ...options });
  client.on('error', () => {});
  cleanup(() => client.endAsync(true));
  await new Promise<void>((resolve, reject) => {
    client.once('connect', () => resolve());
    client.once('close', () => reject(new Error('the broker did not take the test')));
  });
  return client;
}

/** Numbers of the events taken, in order. */
export const seqsOf = ({ taken }: Pick<Office, 'taken'>): number[] =>
  taken.flatMap(({ incoming }) => (incoming.kind === 'event' ? [incoming.message.seq] : []));

export const kindsOf = ({ taken }: Pick<Office, 'taken'>): string[] => taken.map(({ incoming }) => incoming.kind);

/** What was published to this broker on topics that end so, without the probes of offices; payloads as text. */
export function saidOn(broker: EmbeddedBroker, name: string): { payload: string; retain: boolean }[] {
  const said: { payload: string; retain: boolean }[] = [];
  broker.aedes.on('publish', ({ topic, payload, retain }) => {
    if (topic.endsWith(`/${name}`) && !topic.includes('office-probe')) said.push({ payload: String(payload), retain });
  });
  return said;
}
