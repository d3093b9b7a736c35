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

/** The same package brings its messages in every language, a third of what the window begins with, and nothing here asks for them: messages of the contract are our own. */
const withoutLanguages: Plugin = {
  name: 'without-languages',
  transform: (code, id) => (/\/zod\/v4\/(?:classic\/external|core\/index)\.js$/u.test(id) ? code.replace(/^export \* as locales from .*$/mu, '') : null),
};

/** What main.tsx asks for in any case is named in the page, so that it comes together with main.tsx and not behind it (WIN-172). */
const drawingAhead: Plugin = {
  name: 'drawing-ahead',
  transformIndexHtml: {
    order: 'post',
    handler: (_html, { bundle = {} }) => {
      const chunks = Object.values(bundle).filter((file) => file.type === 'chunk');
      const drawing = chunks.find(({ facadeModuleId }) => facadeModuleId?.endsWith('/renderer/frame/draw.tsx') === true);
      if (drawing === undefined) return [];
      const known = new Set(chunks.filter(({ isEntry }) => isEntry).flatMap(({ fileName, imports }) => [fileName, ...imports]));
      return [drawing.fileName, ...drawing.imports].filter((file) => !known.has(file)).map((file) => ({ tag: 'link', attrs: { rel: 'modulepreload', crossorigin: true, href: `./${file}` }, injectTo: 'head' as const }));
    },
  },
};

/** Everything ends up in files of our own: the window runs under a policy without inline script, inline style and eval. */
export default defineConfig({
  root: decodeURIComponent(new URL('.', import.meta.url).pathname),
  base: './',
  plugins: [react(), withoutEval, withoutLanguages, drawingAhead],
  worker: { format: 'es', plugins: () => [withoutEval, withoutLanguages] },
  build: {
    outDir: '../dist/window',
    emptyOutDir: true,
    target: 'es2023',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    chunkSizeWarningLimit: 900,
  },
});
