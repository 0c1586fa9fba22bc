import { createHash } from 'node:crypto';
import type { QueuedNotice } from '../store/contract.js';

const hex = (parts: readonly (string | number)[]): string =>
  createHash('sha256').update(JSON.stringify(parts)).digest('hex').slice(0, 32);

/** The same at every attempt, also after a restart; of another store another one, though stores count alike. */
export const noticeId = ({ id, notice }: Pick<QueuedNotice, 'id' | 'notice'>): string =>
  hex([notice.fleet, notice.truck, notice.alert.id, notice.why, notice.channel, notice.ms, id]);

/** What all messages about one alert have in common. */
export const threadId = ({ notice }: Pick<QueuedNotice, 'notice'>): string =>
  hex([notice.fleet, notice.truck, notice.alert.id, notice.channel]);
