/** Builds what runs in a browser or in Electron, when it is not there or older than its source. */
import { spawnSync } from 'node:child_process';
import { existsSync, readdirSync, statSync } from 'node:fs';
import { join } from 'node:path';
import { exitCode } from './exit-codes.ts';
import { tell } from './say.ts';
import { Stop } from './stop.ts';

export const houseFolder = join(import.meta.dirname, '..', '..');
export const windowFolder = join(houseFolder, 'dist', 'window');

interface Built {
  readonly what: string;
  readonly result: string;
  readonly sources: readonly string[];
  /** Arguments of `vite build`, one build after the other. */
  readonly builds: readonly (readonly string[])[];
}

const window: Built = {
  what: 'window',
  result: 'dist/window/index.html',
  sources: ['renderer', 'app'],
  builds: [['-c', 'renderer/vite.config.ts']],
};
const desktop: Built = {
  what: 'desktop processes',
  result: 'dist/host/preload.cjs',
  sources: ['main', 'app', 'firmware-protocol'],
  builds: [['-c', 'main/electron/vite.config.ts'], ['-c', 'main/electron/vite.config.ts', '--mode', 'preload']],
};

const tab: Built = {
  what: 'bench in a tab',
  result: 'dist/tab/index.html',
  sources: ['main', 'app', 'firmware-protocol', 'renderer'],
  builds: [['-c', 'main/tab/vite.config.ts']],
};

/** Throws a Stop when a build fails; its own output says why. */
export function buildWindow(): void {
  bringUp(window);
}

export function buildDesktop(): void {
  bringUp(window);
  bringUp(desktop);
}

/** The same of the page that needs no host. */
export function buildTab(): void {
  bringUp(tab);
}

function bringUp({ what, result, sources, builds }: Built): void {
  const path = join(houseFolder, result);
  if (existsSync(path) && statSync(path).mtimeMs > Math.max(...sources.map((folder) => newest(join(houseFolder, folder))))) return;
  tell(`railhouse: building the ${what} ...`);
  for (const args of builds) {
    const vite = join(houseFolder, 'node_modules', 'vite', 'bin', 'vite.js');
    // What stands in the surroundings, as in those of a test, would make a window for finding faults in, twice as slow, which then stays (WIN-175).
    const done = spawnSync(process.execPath, [vite, 'build', '--logLevel', 'warn', ...args], { cwd: houseFolder, stdio: ['ignore', 'inherit', 'inherit'], env: { ...process.env, NODE_ENV: 'production' } });
    if (done.status !== 0) throw new Stop(exitCode.defect, `The ${what} could not be built; the lines above say why. The command line works without it.`);
  }
}

/** When the newest file under a folder was changed, tests aside. */
function newest(folder: string): number {
  let latest = 0;
  for (const entry of readdirSync(folder, { withFileTypes: true, recursive: true })) {
    if (!entry.isFile() || entry.name.includes('.test')) continue;
    latest = Math.max(latest, statSync(join(entry.parentPath, entry.name)).mtimeMs);
  }
  return latest;
}
