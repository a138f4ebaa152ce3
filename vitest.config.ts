import { defineConfig } from 'vitest/config';

/**
 * Three kinds of test. `unit` stands beside the code and needs nothing; `whole` uses several rooms at once
 * (processes, SSH to practice devices, the built command line); `lab` needs Linux and root.
 */
export default defineConfig({
  test: {
    projects: [
      {
        test: {
          name: 'unit',
          include: ['src/**/*.test.ts'],
          testTimeout: 60_000,
        },
      },
      {
        test: {
          name: 'whole',
          include: ['test/**/*.test.ts'],
          exclude: ['test/lab/**'],
          testTimeout: 300_000,
          hookTimeout: 300_000,
        },
      },
      {
        test: {
          name: 'lab',
          include: ['test/lab/**/*.test.ts', 'lab/**/*.test.ts'],
          testTimeout: 300_000,
          hookTimeout: 300_000,
          fileParallelism: false,
        },
      },
    ],
  },
});
