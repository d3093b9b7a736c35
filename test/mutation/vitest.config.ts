import { defineConfig } from 'vitest/config';

/** The tests that mutants of a room are held against; named by the command. */
export default defineConfig({
  test: { include: (process.env['MUTATION_TESTS'] ?? '').split(' '), testTimeout: 300_000, hookTimeout: 300_000 },
});
