import { defineConfig } from 'vitest/config';

/** For the kernel that tests/kernel/run.sh boots: one processor, one bus, so one file after the other. */
export default defineConfig({
  test: {
    root: '.',
    include: ['tests/kernel/**/*.guest.ts'],
    pool: 'forks',
    maxWorkers: 1,
    isolate: false,
    sequence: { shuffle: false },
    testTimeout: 300_000,
    hookTimeout: 300_000,
    reporters: ['verbose', ['json', { outputFile: 'dist/kernel-results.json' }]],
  },
});
