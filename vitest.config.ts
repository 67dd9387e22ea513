import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['src/**/*.test.ts', 'test/**/*.test.ts', 'web/**/*.test.ts'],
    testTimeout: 240_000,
    hookTimeout: 60_000,
    // A loaded machine may need long for an answer; a result that never comes still fails.
    expect: { poll: { timeout: 30_000, interval: 100 } },
    pool: 'forks',
    maxWorkers: 2,
  },
});
