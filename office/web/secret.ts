import { createHash, timingSafeEqual } from 'node:crypto';

export const sha256 = (text: string): Buffer => createHash('sha256').update(text).digest();

/** Takes the same time wherever they differ, and however long they are. */
export const isSameSecret = (given: string, right: string): boolean => timingSafeEqual(sha256(given), sha256(right));
