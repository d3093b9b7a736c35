/** Installers as they are: processes that work, fail, and stand still. */
import { existsSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { machineClock } from '../clock/machine.ts';
import { canRunElectron } from './can-run.ts';
import { fetchElectron } from './fetch-electron.ts';

let folder: string;
let electronFolder: string;
let progress: number[];
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-fetch-'));
  electronFolder = join(folder, 'electron');
  mkdirSync(electronFolder);
  progress = [];
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const scratchFolder = (): string => join(folder, 'scratch');

function fetchWith(installer: string, silenceMs = 60_000): Promise<string | null> {
  writeFileSync(join(electronFolder, 'install.js'), `const fs = require('node:fs'), path = require('node:path'), os = require('node:os');\n${installer}`);
  return fetchElectron({ electronFolder, scratchFolder: scratchFolder(), env: process.env, clock: machineClock, silenceMs, lookMs: 20, onProgress: (bytes) => progress.push(bytes) });
}

/** Brings a piece at a time into the folder for what is on its way, as a download does, then unpacks. */
const works = `
let pieces = 0;
const timer = setInterval(() => {
  fs.appendFileSync(path.join(os.tmpdir(), 'electron.zip'), 'x'.repeat(1000));
  if (++pieces < 12) return;
  clearInterval(timer);
  fs.mkdirSync(path.join(__dirname, 'dist'));
  fs.writeFileSync(path.join(__dirname, 'dist', 'electron'), '');
  fs.writeFileSync(path.join(__dirname, 'path.txt'), 'electron');
}, 60);`;

const pidFile = (): string => JSON.stringify(join(folder, 'pid'));
const isAlive = (pid: number): boolean => {
  try {
    return process.kill(pid, 0);
  } catch {
    return false;
  }
};

describe('HOST-105 an installer', () => {
  test('that works: progress is told as it comes, the program can be run then, and nothing is left beside it', async () => {
    // Longer in all than it may be silent.
    expect(await fetchWith(works, 400)).toBeNull();
    expect(progress.length).toBeGreaterThan(2);
    expect(progress.slice(0, 3)).toEqual(progress.slice(0, 3).toSorted((a, b) => a - b));
    expect(canRunElectron({ platform: 'linux', env: { DISPLAY: ':0' }, userId: 1000, electronFolder })).toMatchObject({ can: true });
    expect(existsSync(scratchFolder())).toBe(false);
  });

  test('that stands still is ended, and that is the reason', async () => {
    const why = await fetchWith(`fs.writeFileSync(${pidFile()}, String(process.pid)); fs.writeFileSync(path.join(os.tmpdir(), 'half'), 'x'); setInterval(() => undefined, 1000);`, 300);
    expect(why).toMatch(/nothing came for 0 s$/);
    const pid = Number((await import('node:fs')).readFileSync(join(folder, 'pid'), 'utf8'));
    expect(isAlive(pid)).toBe(false);
    expect(existsSync(scratchFolder())).toBe(false);
  });

  test.each([
    ['without a network', `console.error(\`TypeError: fetch failed\n    at node:internal\n  [cause]: Error: getaddrinfo ENOTFOUND example.invalid\n      at x {\n    errno: -3008\`); process.exit(1);`, 'getaddrinfo ENOTFOUND example.invalid'],
    ['that is refused', `console.error('HTTPError: Response code 403 (Forbidden) for https://example.invalid/electron.zip\\n    at FetchDownloader'); process.exit(1);`, 'Response code 403'],
    ['whose file is not the one that the package knows', `console.error('Error: Generated checksum for "electron.zip" did not match expected checksum.\\n    at x'); process.exit(1);`, 'checksum'],
    ['that dies', `process.kill(process.pid, 'SIGKILL'); setInterval(() => undefined, 1000);`, 'it ended with'],
  ])('%s: the reason in a clause', async (_name, installer, words) => {
    const why = await fetchWith(installer);
    expect(why).toContain(words);
    expect(why).not.toContain('\n');
    expect(canRunElectron({ platform: 'linux', env: { DISPLAY: ':0' }, userId: 1000, electronFolder })).toMatchObject({ can: false });
  });

  test('that cannot even be started, or has no place: said, not thrown', async () => {
    writeFileSync(join(folder, 'scratch'), 'a file');
    expect(await fetchElectron({ electronFolder: join(folder, 'none'), scratchFolder: join(folder, 'scratch', 'below'), env: {}, clock: machineClock, onProgress: () => undefined })).toMatch(/no place/);
    expect(await fetchElectron({ electronFolder: join(folder, 'none'), scratchFolder: join(folder, 'other'), env: {}, clock: machineClock, onProgress: () => undefined })).toMatch(/could not be fetched/);
  });
});

test('HOST-105 the installer of the package that is installed writes where its progress is looked for, and reads the same variables', async () => {
  const { readFileSync } = await import('node:fs');
  const installed = join(import.meta.dirname, '..', '..', 'node_modules', 'electron');
  const installer = readFileSync(join(installed, 'install.js'), 'utf8');
  expect(installer).toContain("require('./checksums.json')");
  expect(installer).toMatch(/dir: path\.join\(__dirname, 'dist'\)/);
  expect(installer).toContain("'path.txt'");
  // Where a download lies until it is whole.
  expect(readFileSync(join(installed, 'node_modules', '@electron', 'get', 'dist', 'utils.js'), 'utf8')).toMatch(/os\.tmpdir\(\)/);
});
