import { closeSync, openSync, writeSync } from 'node:fs';
import type { TruckConfig } from '../../config/resolved.js';
import type { NumberedEvent } from '../alerts/numbered.js';
import { canonicalEvent, eventMessage, type RenderContext } from '../alerts/rendering.js';
import { type Console, styleOf } from './console.js';
import { EXIT, Failure } from './failure.js';
import type { ReplayOptions, ReplaySettings } from './replay-settings.js';
import type { TripsTold } from './session.js';
import { timelineEntry } from './timeline.js';
import { tripEntries } from './trip-timeline.js';

/** Where the events of a replay go. */
export interface Output {
  /** @param config in force for them */
  write(events: readonly NumberedEvent[], config: TruckConfig): void;
  /** For people only: among the events of a file nothing else has a place. */
  trips(told: TripsTold, config: TruckConfig): void;
  close(): void;
}

/** A file or stdout as JSON lines, else stdout as a timeline for people; nothing where they are only compared or collected. */
export function openOutput(options: ReplayOptions, format: ReplaySettings['format'], { out }: Console): Output {
  const { events: path, expect, collect } = options;
  if (path === undefined) {
    if (expect !== undefined || collect === true) return { write: () => {}, trips: () => {}, close: () => {} };
    const style = styleOf(out);
    const timeline = lines(
      (text) => out.write(text),
      (e, config) => timelineEntry(eventMessage(e, contextOf(config)), config.show, style),
    );
    const trips: Output['trips'] = (told, { show }) => {
      for (const entry of tripEntries(told, show, style)) out.write(`${entry}\n`);
    };
    return { ...timeline, trips };
  }
  const line: Line = (event, config) =>
    format === 'canonical' ? canonicalEvent(event.draft) : JSON.stringify(eventMessage(event, contextOf(config)));
  if (path === '-') return lines((text) => out.write(text), line);
  const fd = openFile(path);
  return lines(
    (text) => writeSync(fd, text),
    line,
    () => closeSync(fd),
  );
}

type Line = (event: NumberedEvent, config: TruckConfig) => string;

const contextOf = ({ fleet, truck, hash }: TruckConfig): RenderContext => ({
  ...{ fleet, truck, config: hash, now: null, replay: true },
});

function lines(write: (text: string) => void, line: Line, close = () => {}): Output {
  return {
    write: (events, config) => {
      if (events.length > 0) write(`${events.map((event) => line(event, config)).join('\n')}\n`);
    },
    trips: () => {},
    close,
  };
}

function openFile(path: string): number {
  try {
    return openSync(path, 'w');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    throw new Failure(EXIT.failed, `${path}: cannot be written (${code}); choose another --events file`, error);
  }
}
