import react from '@vitejs/plugin-react';
import { defineConfig } from 'vite';

/** Everything ends up in files of our own: the window runs under a policy without inline script, inline style and eval. */
export default defineConfig({
  root: decodeURIComponent(new URL('.', import.meta.url).pathname),
  base: './',
  plugins: [react()],
  build: {
    outDir: '../dist/window',
    emptyOutDir: true,
    target: 'es2023',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
});
