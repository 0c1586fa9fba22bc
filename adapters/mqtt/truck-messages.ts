import type {
  NumberedCheck,
  NumberedEvent,
  NumberedOpen,
  NumberedTrip,
  RunInfo,
} from '../../daemon/alerts/numbered.js';
import { eventMessage, openMessage, readingMessage } from '../../daemon/alerts/rendering.js';
import { startCheckMessage, tripMessage } from '../../daemon/alerts/trip-rendering.js';
import type { ReadingReport } from '../../daemon/effects.js';
import type { WallMs } from '../../daemon/time.js';
import { type Encoded, encodeEvent, encodeGap, encodeOpen, encodePresence, encodeReading } from './encode.js';
import { encodeStartCheck, encodeTrip } from './encode-trip.js';
import type { Gap, PresenceState, PublisherOptions } from './publisher-options.js';
import { LIVE_ROOT, REPLAY_ROOT, type TopicName, topicOf } from './topics.js';

const RETAINED: ReadonlySet<TopicName> = new Set(['presence', 'open', 'reading']);

/** What one truck says, and where: topics and payloads with its identity, marked if it is a replay. */
export class TruckMessages {
  readonly #options: PublisherOptions;
  readonly #mark: { replay?: true };
  readonly root: string;

  constructor(options: PublisherOptions) {
    this.#options = options;
    const replay = options.replay === true;
    this.#mark = replay ? { replay } : {};
    this.root = replay ? REPLAY_ROOT : LIVE_ROOT;
  }

  /** Nothing of a replay is. */
  isRetained(name: TopicName): boolean {
    return RETAINED.has(name) && this.#options.replay !== true;
  }

  topic(name: TopicName): string {
    return topicOf(this.root, this.#options.fleet, this.#options.truck, name);
  }

  presence(state: PresenceState): Encoded {
    const { source, version, config } = this.#options;
    return encodePresence({
      v: 1,
      ...this.#mark,
      state: state.state,
      store: source.opened.store,
      boot: source.opened.boot,
      version,
      config: config(),
      bus: state.bus,
      degraded: state.degraded,
      since: state.since,
    });
  }

  open(open: NumberedOpen): Encoded {
    return encodeOpen(openMessage(open, this.#mark));
  }

  gap(gap: Gap): Encoded {
    const { fromSeq, toSeq, what, count, why } = gap;
    const { store } = this.#options.source.opened;
    return encodeGap({ v: 1, ...this.#mark, store, fromSeq, toSeq, what, count, why });
  }

  trip(trip: NumberedTrip): Encoded {
    return encodeTrip(tripMessage(trip, { config: this.#options.config(), ...this.#mark }));
  }

  startCheck(check: NumberedCheck): Encoded {
    return encodeStartCheck(startCheckMessage(check, { config: this.#options.config(), ...this.#mark }));
  }

  reading(report: ReadingReport, run: RunInfo): Encoded {
    return encodeReading(readingMessage(report, run, this.#mark));
  }

  event(event: NumberedEvent): Encoded {
    const { fleet, truck, config } = this.#options;
    const now = this.#comparableNow(event);
    return encodeEvent(eventMessage(event, { fleet, truck, config: config(), now, ...this.#mark }));
  }

  /** Now by the clock that the event was stamped with: of this run by stream time, of an earlier one if both clocks are right. */
  #comparableNow(event: NumberedEvent): WallMs | null {
    const { clock, source, replay } = this.#options;
    if (replay === true) return null;
    if (event.boot === source.opened.boot) return event.run.zeroWallMs + clock.streamNow();
    return event.run.synced ? clock.wallNow() : null;
  }
}
