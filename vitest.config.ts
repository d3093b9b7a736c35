import { defineConfig } from 'vitest/config';

export default defineConfig({
  test: {
    include: ['{app,main,renderer,firmware-protocol,test}/**/*.test.ts'],
    pool: 'forks',
    maxWorkers: 2,
    testTimeout: 120_000,
    hookTimeout: 120_000,
    // A test waits for what must come, as long as a busy machine needs.
    expect: { poll: { timeout: 20_000 } },
  },
});
