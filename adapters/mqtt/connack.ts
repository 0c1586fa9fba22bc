import type { MqttClient } from 'mqtt';

/** CONNACK codes that say what to do instead: MQTT 3.1.1 §3.2.2.3, MQTT 5.0 §3.2.2.2. */
export const REFUSALS: ReadonlyMap<number, 'refused-version' | 'refused-retain'> = new Map([
  [1, 'refused-version'],
  [0x84, 'refused-version'],
  [0x9a, 'refused-retain'],
]);

export interface Abilities {
  sharedSubscriptions: boolean;
  wildcards: boolean;
  retained: boolean;
}

/** What the broker says in CONNACK that it can do: MQTT 5.0 §3.2.2.3. In 3.1.1 it says nothing, and shares nothing. */
export function abilitiesOf(version: 4 | 5, said: MqttClient['serverProperties']): Abilities {
  return {
    sharedSubscriptions: version === 5 && said?.sharedSubscriptionAvailable !== false,
    wildcards: said?.wildcardSubscriptionAvailable !== false,
    retained: said?.retainAvailable !== false,
  };
}
