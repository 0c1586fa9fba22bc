import { describe, expect, it } from 'vitest';
import { LoopDelay } from '../../../adapters/host/loop-delay.js';

const held = (ms: number): void => {
  const end = performance.now() + ms;
  while (performance.now() < end);
};

describe('the delay of the event loop', () => {
  it('is what the loop was held for, less than a look too little', async () => {
    const delay = new LoopDelay();
    try {
      // The histogram begins with the first look of its timer.
      await expect.poll(() => delay.health.p50Ms + delay.health.maxMs).toBeGreaterThan(0);
      held(200);
      await expect.poll(() => delay.health.maxMs).toBeGreaterThanOrEqual(190);
      const { p50Ms, p99Ms, maxMs } = delay.health;
      expect(p50Ms).toBeLessThanOrEqual(p99Ms);
      expect(p99Ms).toBeLessThanOrEqual(maxMs);
    } finally {
      delay.close();
    }
  });
});
