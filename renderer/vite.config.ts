import react from '@vitejs/plugin-react';
import { defineConfig } from 'vite';
import type { Plugin } from 'vite';

/**
 * Two packages try `eval` when they are loaded, to learn what the engine can do, and go on without it. The window's policy
 * forbids it and would report the attempt, so they are told beforehand.
 */
const withoutEval: Plugin = {
  name: 'without-eval',
  load: (id) => (id.includes('/@stdlib/utils-eval/') ? "module.exports = () => { throw new Error('no eval in the window'); };" : null),
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
