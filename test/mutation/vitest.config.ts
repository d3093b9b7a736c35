import { defineConfig } from 'vitest/config';

/** The tests that mutants of a room are held against; named by the command. */
export default defineConfig({
  test: { include: (process.env['MUTATION_TESTS'] ?? '').split(' '), exclude: ['node_modules', ...(process.env['MUTATION_WITHOUT'] ?? '').split(' ').filter((one) => one !== '')], testTimeout: 300_000, hookTimeout: 300_000 },
});
