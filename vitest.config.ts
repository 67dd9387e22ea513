import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['src/**/*.test.ts', 'test/**/*.test.ts', 'web/**/*.test.ts'],
    // Far from the edge on a machine that does five other things; what never comes still fails.
    testTimeout: 900_000,
    hookTimeout: 300_000,
    expect: { poll: { timeout: 120_000, interval: 100 } },
    pool: 'forks',
    maxWorkers: 2,
  },
});
