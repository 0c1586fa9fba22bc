import type { LogsRead } from '../../adapters/can/log-files.js';
import type { StreamMs } from '../time.js';
import { clockOf, eventsWords } from './expect.js';

export interface PartRead {
  read: LogsRead;
  /** Where it begins. */
  firstT: StreamMs;
}

/** What was read, over all runs, and how many events came of it: one line. */
export function summaryOf(parts: readonly PartRead[], events: number): string {
  const sum = (key: keyof LogsRead['counts']): number => parts.reduce((all, { read }) => all + read.counts[key], 0);
  const told: [number, string][] = [
    [sum('bad'), 'bad lines'],
    [sum('badPackets'), 'bad packets'],
    [sum('otherPackets'), 'packets without CAN'],
    [sum('clamped'), 'stamps clamped'],
    [sum('seams'), 'seams'],
    [sum('errorFrames'), 'error frames'],
    [sum('shortIds'), '11-bit'],
    [sum('rtr'), 'RTR'],
    [sum('fd'), 'FD'],
    [sum('unknownInterface'), 'from other interfaces'],
  ];
  const notes = told.filter(([count]) => count > 0).map(([count, what]) => `${count} ${what}`);
  const list = notes.length === 0 ? '' : `; ${notes.join(', ')}`;
  const traffic = clockOf(parts.reduce((all, { read, firstT }) => all + Math.max(0, read.parser.lastT - firstT), 0));
  return `${traffic} of traffic, ${sum('frames')} frames, ${sum('interesting')} of interest, ${eventsWords(events)}${list}\n`;
}
