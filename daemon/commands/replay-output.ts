import { closeSync, openSync, writeSync } from 'node:fs';
import type { NumberedEvent } from '../alerts/numbered.js';
import { canonicalEvent, eventMessage } from '../alerts/rendering.js';
import { type Console, styleOf } from './console.js';
import { EXIT, Failure } from './failure.js';
import type { ReplayOptions, ReplaySettings } from './replay-settings.js';
import { timelineEntry } from './timeline.js';

/** Where the events of a replay go. */
export interface Output {
  write(events: readonly NumberedEvent[]): void;
  close(): void;
}

/** A file or stdout as JSON lines, else stdout as a timeline for people; nothing where only differences are asked for. */
export function openOutput(options: ReplayOptions, settings: ReplaySettings, { out }: Console): Output {
  const { events: path, expect } = options;
  const { config, format } = settings;
  const context = { fleet: config.fleet, truck: config.truck, config: config.hash, now: null, replay: true };
  if (path === undefined) {
    if (expect !== undefined) return { write: () => {}, close: () => {} };
    const style = styleOf(out);
    return lines(
      (text) => out.write(text),
      (e) => timelineEntry(eventMessage(e, context), config.show, style),
    );
  }
  const line = (event: NumberedEvent): string =>
    format === 'canonical' ? canonicalEvent(event.draft) : JSON.stringify(eventMessage(event, context));
  if (path === '-') return lines((text) => out.write(text), line);
  const fd = openFile(path);
  return lines(
    (text) => writeSync(fd, text),
    line,
    () => closeSync(fd),
  );
}

function lines(write: (text: string) => void, line: (event: NumberedEvent) => string, close = () => {}): Output {
  return {
    write: (events) => {
      if (events.length > 0) write(`${events.map(line).join('\n')}\n`);
    },
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
