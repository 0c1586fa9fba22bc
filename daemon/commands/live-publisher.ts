import type { HostClock } from '../../adapters/clock/host-clock.js';
import { hostTimers } from '../../adapters/mqtt/clock.js';
import { readCredentials } from '../../adapters/mqtt/credentials.js';
import type { AnswerMessage } from '../../adapters/mqtt/messages.js';
import { Publisher } from '../../adapters/mqtt/publisher.js';
import type { Store } from '../../adapters/store/contract.js';
import type { TruckConfig } from '../../config/resolved.js';
import type { RunEdges } from './live-bus.js';
import { VERSION } from './version.js';

export interface LivePublisherParts {
  store: Store;
  clock: HostClock;
  log: RunEdges['log'];
  /** Hash of the configuration in force. */
  hash: () => string;
  onAnswer: (answer: AnswerMessage) => void;
}

/** Brings a truck's events to its broker; null where the truck file names none. */
export function livePublisher({ mqtt, fleet, truck }: TruckConfig, parts: LivePublisherParts): Publisher | null {
  if (mqtt === null) return null;
  const { store, clock, log, hash, onAnswer } = parts;
  return new Publisher({
    source: store,
    url: mqtt.url,
    confirm: mqtt.confirm,
    credentials: () => readCredentials(mqtt, (line) => log.warn(line)),
    fleet,
    truck,
    version: VERSION,
    config: hash,
    presence: { state: 'awake', bus: {}, degraded: [], since: null },
    clock: { ...hostTimers(), streamNow: () => clock.streamNow(), wallNow: () => clock.wallNow() },
    clockSynced: () => clock.run.synced,
    hold: () => (clock.isSet ? null : 'waiting for clock'),
    onAnswer,
    log: (level, line) => log[level](line),
  });
}
