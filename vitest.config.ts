import { defineConfig } from 'vitest/config';

/** In CI the counts are read from here; dist/ is never committed. */
const RESULTS = 'dist/test-results.json';

export default defineConfig({
  test: {
    include: ['tests/**/*.test.ts'],
    // Workers, brokers and stores are real: each test file has a process of its own, and two of them fill a small machine.
    pool: 'forks',
    maxWorkers: 2,
    sequence: { shuffle: false },
    testTimeout: 30_000,
    hookTimeout: 30_000,
    reporters: process.env.CI === 'true' ? ['default', ['json', { outputFile: RESULTS }]] : ['default'],
  },
});
