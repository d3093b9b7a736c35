/**
 * Builds the bench in a tab into dist/tab: one static page, the window, and beside it a worker with the host, the simulated bench and an archive in memory.
 * Node's modules and the native database are replaced by those of `node/`, which have what the host asks for and no more: what it does not find there fails the build.
 */
import { join } from 'node:path';
import react from '@vitejs/plugin-react';
import { defineConfig, type Plugin } from 'vite';

const here = import.meta.dirname;
const house = join(here, '..', '..');
const own = (file: string): string => join(here, 'node', file);

const alias = [
  { find: /^(node:)?fs(\/promises)?$/, replacement: own('fs.ts') },
  { find: /^node:crypto$/, replacement: own('crypto.ts') },
  { find: /^node:zlib$/, replacement: own('zlib.ts') },
  { find: /^(node:)?(os|child_process|url|v8|util)$/, replacement: own('machine.ts') },
  { find: /^(node:)?process\/?$/, replacement: own('process.ts') },
  { find: /^(node:)?path$/, replacement: 'path-browserify' },
  { find: /^(node:)?stream$/, replacement: 'readable-stream' },
  { find: /^(node:)?events\/?$/, replacement: join(house, 'node_modules', 'events', 'events.js') },
  { find: /^better-sqlite3$/, replacement: own('sqlite.ts') },
  { find: /^(node:)?buffer\/?$/, replacement: join(house, 'node_modules', 'buffer', 'index.js') },
];

/** The window's own page asks for the same (renderer/vite.config.ts): no `eval`. */
const withoutEval: Plugin = {
  name: 'without-eval',
  transform: (code, id) => (id.endsWith('/zod/v4/core/core.js') ? `${code}\nglobalConfig.jitless = true;\n` : null),
};

/** A module of Node that nothing stands for would be an empty one, and a fault only when it is used. */
const nothingLeftOut: Plugin = {
  name: 'nothing-left-out',
  load: (id) => {
    if (id.startsWith('__vite-browser-external')) throw new Error(`The tab has nothing for "${id.slice('__vite-browser-external:'.length)}" of Node.`);
    return null;
  },
};

export default defineConfig({
  root: here,
  base: './',
  plugins: [nothingLeftOut, react(), withoutEval],
  resolve: { alias },
  worker: { format: 'es', plugins: () => [nothingLeftOut, withoutEval] },
  build: {
    outDir: join(house, 'dist', 'tab'),
    emptyOutDir: true,
    target: 'es2023',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 3000,
  },
});
