/**
 * Builds the desktop's processes into dist/host, each in one flat file that needs no type stripping: the shell, the host's
 * process and those of its desk; with `--mode preload` the preload, which the sandbox loads as CommonJS.
 */
import { builtinModules } from 'node:module';
import { join } from 'node:path';
import { defineConfig } from 'vite';

const here = import.meta.dirname;
const outDir = join(here, '..', '..', 'dist', 'host');

export default defineConfig(({ mode }) => ({
  build: {
    outDir,
    emptyOutDir: mode !== 'preload',
    target: 'node24',
    minify: false,
    ssr: true,
    rolldownOptions: {
      input:
        mode === 'preload'
          ? { preload: join(here, 'preload.ts') }
          : { main: join(here, 'main.ts'), 'host-process': join(here, 'host-process.ts'), 'desk-worker': join(here, '..', 'host', 'desk-worker.ts') },
      // Native modules are loaded from their packages, where their binaries are.
      external: ['electron', 'better-sqlite3', 'serialport', ...builtinModules, /^node:/],
      output:
        mode === 'preload'
          ? { format: 'cjs', entryFileNames: '[name].cjs' }
          : { format: 'es', entryFileNames: '[name].js', chunkFileNames: '[name].js' },
    },
  },
  ssr: { noExternal: true, external: ['electron', 'better-sqlite3', 'serialport'] },
}));
