import react from '@vitejs/plugin-react';
import { defineConfig } from 'vite';
import type { Plugin } from 'vite';

/**
 * A package tries `eval` when it is loaded, to learn what the engine can do, and goes on without it. The window's policy
 * forbids it and would report the attempt, so it is told beforehand.
 */
const withoutEval: Plugin = {
  name: 'without-eval',
  transform: (code, id) => (id.endsWith('/zod/v4/core/core.js') ? `${code}\nglobalConfig.jitless = true;\n` : null),
};

/** Everything ends up in files of our own: the window runs under a policy without inline script, inline style and eval. */
export default defineConfig({
  root: decodeURIComponent(new URL('.', import.meta.url).pathname),
  base: './',
  plugins: [react(), withoutEval],
  worker: { format: 'es', plugins: () => [withoutEval] },
  build: {
    outDir: '../dist/window',
    emptyOutDir: true,
    target: 'es2023',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
});
