import type { LifeState } from '../../daemon/effects.js';
import type { PublisherHealth } from '../mqtt/publisher-options.js';
import type { RecorderHealth } from '../recorder/contract.js';
import type { BusHealth } from './health.js';

export interface MetricRow {
  kind: 'gauge' | 'counter';
  /** After `axlepost_`; with its base unit at the end, and `_total` where it counts. */
  name: string;
  /** In the health page; see `at` of metrics.ts. A yes or no is 1 or 0. */
  path: string;
  help: string;
  /** The value is one of these words: one sample for each, 1 where it holds. */
  states?: readonly string[];
  /** The value is not a number: 1, with these of its keys as labels. */
  info?: readonly string[];
  /** Units of the page in one of the metric's. */
  per?: number;
}

const LIFE: readonly LifeState[] = ['awake', 'blind', 'parked', 'asleep'];
const BUS: readonly BusHealth['state'][] = ['listen-only', 'acknowledging', 'virtual', 'down'];
/** linux/can/netlink.h, as `ip` prints them. */
const CONTROLLER = ['ERROR-ACTIVE', 'ERROR-WARNING', 'ERROR-PASSIVE', 'BUS-OFF', 'STOPPED', 'SLEEPING'];
const BROKER: readonly PublisherHealth['state'][] = ['new', 'holding', 'connecting', 'connected', 'waiting', 'stopped'];
const RECORDER: readonly RecorderHealth['state'][] = ['recording', 'waiting', 'failed'];
const MS = 1000;

const gauge = (name: string, path: string, help: string, per = 1): MetricRow => ({
  kind: 'gauge',
  name,
  path,
  help,
  per,
});
const counter = (name: string, path: string, help: string): MetricRow => ({
  kind: 'counter',
  name: `${name}_total`,
  path,
  help,
});
const stateOf = (name: string, path: string, help: string, states: readonly string[]): MetricRow => ({
  kind: 'gauge',
  name,
  path,
  help,
  states,
});

/** Every number of the health page as a metric. Names are public: additions are fine, renames are not. */
export const METRICS: readonly MetricRow[] = [
  {
    kind: 'gauge',
    name: 'build_info',
    path: '',
    help: 'What runs, with which configuration, on which truck.',
    info: ['version', 'config', 'fleet', 'truck'],
  },
  gauge('degraded_reasons', 'degraded.length', 'Reasons why the health page answers 503.'),
  stateOf('life', 'state', 'Is the truck awake, parked, or are we blind?', LIFE),
  gauge('uptime_seconds', 'uptimeS', 'Since the program started.'),
  gauge('last_tick_age_seconds', 'lastTickAgeMs', 'Since the last tick was decided; there is one a second.', MS),

  stateOf('clock', 'clock.state', 'Is the wall clock past its floor?', ['set', 'waiting for clock']),
  gauge('clock_synced', 'clock.synced', 'Is the wall time of this run known to be right?'),
  gauge('clock_bus_ahead_seconds', 'clock.contradictedByBusS', 'The clock on the bus less ours, while it contradicts.'),

  stateOf('bus', 'buses[].state', 'How the bus is listened to.', BUS),
  counter('bus_frames', 'buses[].frames', 'Frames of interest.'),
  counter('bus_error_frames', 'buses[].errorFrames', 'Error frames.'),
  counter('bus_opened', 'buses[].opened', 'How often the interface was opened.'),
  gauge(
    'bus_interface_counter',
    'buses[].counters.*',
    'Counters of the kernel and the controller, since the interface was made.',
  ),
  counter('bus_transfers', 'buses[].transfers.*', 'Messages of several frames, by what became of them.'),
  stateOf('bus_controller', 'buses[].controller', 'The state of the controller.', CONTROLLER),

  gauge('store_degraded', 'store.degraded', 'The store cannot be written; events go out unstored.'),
  gauge('store_pending_commits', 'store.pending', 'Commits handed over and not yet on disk.'),
  counter(
    'store_unwritten_rows',
    'store.droppedRows',
    'History rows dropped because they could not be written for too long.',
  ),
  gauge('store_outbox_events', 'store.stats.outbox', 'Events that wait for confirmation.'),
  gauge('store_outbox_oldest_seq', 'store.stats.oldestSeq', 'The first event that waits for confirmation.'),
  gauge('store_outbox_trips', 'store.stats.trips', 'Trips that wait for confirmation.'),
  gauge('store_size_bytes', 'store.stats.bytes', 'Size of the database.'),
  counter('store_commits', 'store.stats.commits', 'Commits.'),
  counter(
    'store_left_out_rows',
    'store.stats.droppedRows',
    'History rows left out: no number, or one series too many.',
  ),
  counter('store_retention_failures', 'store.stats.retentionFailures', 'Steps of retention that failed.'),

  stateOf('broker', 'broker.state', 'The connection to the broker.', BROKER),
  gauge('broker_plain', 'broker.plain', 'Neither encrypted nor on loopback.'),
  gauge('broker_protocol_version', 'broker.protocolVersion', 'MQTT version spoken: 4 is 3.1.1.'),
  counter('broker_connects', 'broker.connects', 'Connections made.'),
  counter('broker_failures', 'broker.failures', 'Connections that failed or broke.'),
  counter('broker_events_sent', 'broker.eventsSent', 'Events sent, repeats included.'),
  counter('broker_events_repeated', 'broker.eventsRepeated', 'Events sent for a second or later time.'),
  counter('broker_trips_sent', 'broker.tripsSent', 'Trips sent, repeats included.'),
  counter('broker_sent_bytes', 'broker.bytesSent', 'Bytes sent.'),
  counter('broker_received_bytes', 'broker.bytesReceived', 'Bytes received.'),
  counter('broker_messages_acknowledged', 'broker.messagesAcknowledged', 'Messages that the broker acknowledged.'),
  counter(
    'broker_messages_refused',
    'broker.messagesRefused',
    'Messages that the broker refused; they are tried again.',
  ),
  counter('broker_messages_trimmed', 'broker.messagesTrimmed', 'Messages cut to fit their limit.'),
  gauge('broker_in_flight_messages', 'broker.inFlight', 'Messages without an acknowledgement.'),
  gauge('broker_in_flight_messages_max', 'broker.maxInFlight', 'The most there were.'),
  gauge('broker_confirmed_seq', 'broker.confirmedSeq', 'Highest event that was confirmed.'),
  gauge('broker_unconfirmed_seconds', 'broker.unconfirmedS', 'How long what was sent has not been confirmed.'),
  counter('broker_answers', 'broker.answers', 'Answers of the office.'),
  counter('broker_answers_dropped', 'broker.answersDropped', 'Answers that were none, and were dropped.'),
  counter('broker_answers_refused', 'broker.answerRefused', 'Refused subscriptions to the answers.'),
  counter('broker_volatile_dropped', 'broker.volatileDropped', 'Unstored events that were dropped.'),
  counter('broker_store_errors', 'broker.storeErrors', 'Times that the store did not answer the publisher.'),
  counter('broker_taken_over', 'broker.takenOver', 'Times that another client took our name.'),

  stateOf('recorder', 'recorder.state', 'Is the bus recorded?', RECORDER),
  gauge('recorder_size_bytes', 'recorder.bytes', 'Recordings on disk.'),
  gauge('recorder_segments', 'recorder.segments', 'Segments on disk.'),
  gauge('recorder_pinned_segments', 'recorder.pinned', 'Segments kept because of alerts.'),
  gauge('recorder_waiting_bytes', 'recorder.waitingBytes', 'Text that waits for the disk.'),
  counter('recorder_dropped_frames', 'recorder.droppedFrames', 'Frames that were not recorded.'),
  counter('recorder_dropped_inputs', 'recorder.droppedInputs', 'Answers, reloads and clocks that were not recorded.'),
  counter('recorder_failures', 'recorder.failures', 'Times that the disk refused.'),

  gauge('loop_delay_p50_seconds', 'loop.p50Ms', 'Delay of the event loop in the last minute, median.', MS),
  gauge('loop_delay_p99_seconds', 'loop.p99Ms', 'Delay of the event loop in the last minute, 99th percentile.', MS),
  gauge('loop_delay_max_seconds', 'loop.maxMs', 'Delay of the event loop in the last minute, at most.', MS),
  gauge('resident_memory_bytes', 'memory.rssBytes', 'Resident memory.'),
  gauge('heap_used_bytes', 'memory.heapUsedBytes', 'Memory in use on the heap.'),

  counter('pipeline_frames', 'pipeline.frames', 'Frames that the pipeline took, earlier runs included.'),
  counter('pipeline_error_frames', 'pipeline.errorFrames', 'Error frames that the pipeline took.'),
  counter(
    'pipeline_strange_locations',
    'pipeline.strangeLocations',
    'Tire frames of places that the truck file does not have.',
  ),
  counter('pipeline_implausible_values', 'pipeline.implausible', 'Values marked valid that no truck can have.'),
  counter('pipeline_seams', 'pipeline.seams', 'Seams in the stamps of a recording.'),
  counter(
    'pipeline_decisions_refused',
    'pipeline.decisionsRefused',
    'Decisions of the office that could not be applied.',
  ),
  counter(
    'decisions_unknown',
    'decisionsUnknown',
    'Decisions of the office about alerts that this truck does not know.',
  ),
  counter('pipeline_sources_dropped', 'pipeline.sourcesDropped', 'Frames of senders that were too many to be watched.'),
  counter('pipeline_records_dropped', 'pipeline.recordsDropped', 'Records that were too many for one second.'),

  counter('log_suppressed_lines', 'log.suppressed', 'Log lines left out because the same had been said too often.'),
  counter('log_dropped_lines', 'log.dropped', 'Log lines lost because nobody read them.'),
];
