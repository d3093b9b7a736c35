/**
 * `npm start` as a person types it on a fresh clone: real processes, the house copied to where its packages lie, and in place of what the network
 * would bring installers that work, fail and stand still. A program that is asked to open an address writes it down.
 */
import { spawn, spawnSync, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { chmodSync, cpSync, existsSync, mkdirSync, readFileSync, readdirSync, rmSync, symlinkSync, utimesSync, writeFileSync } from 'node:fs';
import { delimiter, join } from 'node:path';
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest';
import { wait } from '../../main/clock/clock.ts';
import { machineClock } from '../../main/clock/machine.ts';
import { buildDesktop } from '../../main/cli/build.ts';
import { bareEnvironment, scratchFolder } from '../builders/in-process.ts';

const house = join(import.meta.dirname, '..', '..');
/** Electron is not for root, so neither is this test's start: `nobody`. */
const asUser = process.getuid?.() === 0 ? { uid: 65_534, gid: 65_534 } : {};

let folder: string;
let clone: string;
let electronFolder: string;

/** The files of the house that a start needs, its packages as links, and the package electron as it comes: without its program. */
function makeClone(): void {
  for (const name of ['app', 'main', 'firmware-protocol', 'renderer', 'package.json', 'package-lock.json', '.npmrc']) {
    cpSync(join(house, name), join(clone, name), { recursive: true, preserveTimestamps: true, filter: (path) => !/\.test(-helper)?\.tsx?$/u.test(path) });
  }
  cpSync(join(house, 'dist'), join(clone, 'dist'), { recursive: true });
  for (const name of ['window/index.html', 'host/preload.cjs']) utimesSync(join(clone, 'dist', name), new Date(), new Date());
  const packages = join(clone, 'node_modules');
  mkdirSync(packages);
  for (const name of readdirSync(join(house, 'node_modules'))) if (name !== 'electron' && name !== '.railhouse-installed') symlinkSync(join(house, 'node_modules', name), join(packages, name));
  const lock = spawnSync(process.execPath, ['-p', `require('node:crypto').createHash('sha256').update(require('node:fs').readFileSync('package-lock.json')).digest('hex')`], { cwd: clone, encoding: 'utf8' });
  writeFileSync(join(packages, '.railhouse-installed'), lock.stdout.trim());
}

function installer(script: string): void {
  rmSync(electronFolder, { recursive: true, force: true });
  mkdirSync(electronFolder, { recursive: true });
  writeFileSync(join(electronFolder, 'install.js'), `const fs = require('node:fs'), path = require('node:path');\n${script}`);
  own(electronFolder);
}

function own(path: string): void {
  if (asUser.uid !== undefined) spawnSync('chown', ['-R', `${asUser.uid}:${asUser.gid}`, path]);
}

/** Brings a program that writes down what it was started with, and ends as it is told. */
const brings = (endsWith: string): string => `
fs.mkdirSync(path.join(__dirname, 'dist'));
fs.writeFileSync(path.join(__dirname, 'dist', 'electron'), ${JSON.stringify(`#!/bin/sh\necho "$@" > "$RAILHOUSE_TEST/desktop"\n${endsWith}\n`)}, { mode: 0o755 });
fs.writeFileSync(path.join(__dirname, 'path.txt'), 'electron');`;

const fails = `console.error('TypeError: fetch failed\\n  [cause]: Error: getaddrinfo ENOTFOUND example.invalid\\n'); process.exit(1);`;

class Start {
  readonly child: ChildProcess;
  said = '';

  constructor(args: readonly string[], env: Readonly<Record<string, string>>) {
    this.child = spawn(process.execPath, [join(clone, 'main', 'launch', 'launch.mjs'), 'start', ...args], {
      cwd: folder,
      env: { ...bareEnvironment(folder), PATH: `${join(folder, 'bin')}${delimiter}${process.env['PATH'] ?? ''}`, DISPLAY: '', WAYLAND_DISPLAY: '', RAILHOUSE_TEST: folder, ...env },
      stdio: ['ignore', 'pipe', 'pipe'],
      ...asUser,
    });
    for (const stream of [this.child.stdout, this.child.stderr]) stream?.on('data', (bytes: Buffer) => (this.said += bytes.toString()));
  }

  /** Resolves when it has said this; rejects with what it said where it ended without. */
  async says(what: RegExp): Promise<string> {
    for (;;) {
      const found = what.exec(this.said)?.[0];
      if (found !== undefined) return found;
      if (this.child.exitCode !== null) throw new Error(`ended with ${this.child.exitCode}: ${this.said}`);
      await wait(machineClock, 50);
    }
  }

  async end(): Promise<void> {
    if (this.child.exitCode === null && this.child.signalCode === null) {
      this.child.kill('SIGTERM');
      await once(this.child, 'exit');
    }
  }
}

const wrote = async (name: string): Promise<string> => {
  while (!existsSync(join(folder, name)) || readFileSync(join(folder, name), 'utf8') === '') await wait(machineClock, 50);
  return readFileSync(join(folder, name), 'utf8').trim();
};

const display = { DISPLAY: ':77' };
let started: Start[] = [];
const start = (args: readonly string[], env: Readonly<Record<string, string>> = display): Start => {
  const one = new Start(['--archive', join(folder, 'archive.sqlite'), ...args], env);
  started.push(one);
  return one;
};

describe.skipIf(process.platform === 'win32')('npm start', { timeout: 120_000 }, () => {
  beforeAll(() => {
    buildDesktop();
    folder = scratchFolder();
    clone = join(folder, 'clone');
    electronFolder = join(clone, 'node_modules', 'electron');
    mkdirSync(clone);
    makeClone();
    mkdirSync(join(folder, 'bin'));
    writeFileSync(join(folder, 'bin', 'xdg-open'), '#!/bin/sh\necho "$1" >> "$RAILHOUSE_TEST/browser"\n');
    chmodSync(join(folder, 'bin', 'xdg-open'), 0o755);
    chmodSync(folder, 0o755);
    own(folder);
  }, 240_000);
  beforeEach(() => {
    for (const name of ['browser', 'desktop']) rmSync(join(folder, name), { force: true });
  });
  afterEach(async () => {
    await Promise.all(started.map((one) => one.end()));
    started = [];
  });
  afterAll(() => rmSync(folder, { recursive: true, force: true }));

  it('HOST-105 the first time fetches the program of the desktop window and opens it; later it fetches nothing', async () => {
    installer(brings('sleep 4'));
    const first = start([]);
    expect(await wrote('desktop')).toContain(`--archive=${join(folder, 'archive.sqlite')}`);
    expect(first.said).toContain('fetching the program of the desktop window');
    await once(first.child, 'exit');
    expect(first.child.exitCode).toBe(0);
    expect(existsSync(join(folder, 'browser'))).toBe(false);
    rmSync(join(folder, 'desktop'));
    writeFileSync(join(electronFolder, 'install.js'), `process.exit(1)`);
    const second = start([]);
    await wrote('desktop');
    expect(second.said).not.toContain('fetching');
  });

  it('HOST-105 where it cannot be fetched one line says why, and a browser is asked to open the window', async () => {
    installer(fails);
    const one = start([]);
    await one.says(/no desktop window here, because Electron's program could not be fetched \(.*ENOTFOUND example\.invalid\)/);
    const address = await wrote('browser');
    await one.says(/the browser was asked/);
    // The key is not in what every account can read; what is there leads to it once.
    expect(address).toMatch(/^http:\/\/127\.0\.0\.1:\d+\/\?once=[\w-]+$/);
    const printed = await one.says(/http:\/\/127\.0\.0\.1:\d+\/\?token=[\w-]+/);
    const led = await fetch(address, { redirect: 'manual' });
    expect(new URL(led.headers.get('location') ?? '', address).href).toBe(printed);
  });

  it('HOST-105 a desktop window that ends as it begins, as where a library is missing, is said, and the browser opened', async () => {
    installer(brings('echo "libnss3.so: cannot open shared object file" >&2; exit 127'));
    const one = start([]);
    await one.says(/ended as soon as it was begun \(exit code 127\)/);
    await wrote('browser');
    expect(one.said).toContain('libnss3.so');
  });

  it('HOST-106 without a display nothing is fetched and nothing opened: the address is printed', async () => {
    installer(`fs.writeFileSync(path.join(process.env.RAILHOUSE_TEST, 'desktop'), 'installed');`);
    const one = start([], {});
    await one.says(/no desktop window here, because there is no display/);
    await one.says(/no browser was opened, because there is no display/);
    await one.says(/http:\/\/127\.0\.0\.1:\d+\/\?token=/);
    expect([existsSync(join(folder, 'desktop')), existsSync(join(folder, 'browser'))]).toEqual([false, false]);
  });

  it('HOST-106 --browser wants no desktop window; a machine without an opener says so', async () => {
    installer(`fs.writeFileSync(path.join(process.env.RAILHOUSE_TEST, 'desktop'), 'installed');`);
    const one = start(['--browser']);
    await wrote('browser');
    expect(existsSync(join(folder, 'desktop'))).toBe(false);
    await one.end();
    const none = start(['--browser'], { ...display, PATH: join(folder, 'nowhere') });
    await none.says(/no browser was opened, because xdg-open is not installed/);
  });

  it('HOST-107 the address is that of the last start; where another program has the port, the next, and that is told', async () => {
    installer(fails);
    const addressOf = (one: Start): Promise<string> => one.says(/http:\/\/127\.0\.0\.1:\d+\/\?token=[\w-]+/);
    const first = start(['--browser'], {});
    const address = await addressOf(first);
    await first.end();
    const second = start(['--browser'], {});
    expect(await addressOf(second)).toBe(address);
    await second.end();
    const blocker = (await import('node:net')).createServer();
    await new Promise<void>((resolve) => blocker.listen(Number(new URL(address).port), '127.0.0.1', resolve));
    const third = start(['--browser'], {});
    const moved = await addressOf(third);
    await third.says(/is used by another program/);
    expect(new URL(moved).port).not.toBe(new URL(address).port);
    expect(new URL(moved).search).toBe(new URL(address).search);
    await third.end();
    await new Promise((resolve) => blocker.close(resolve));
    const own = start(['--browser', '--listen', '0'], {});
    expect(new URL(await addressOf(own)).search).not.toBe(new URL(address).search);
    await own.end();
    const fourth = start(['--browser'], {});
    expect(await addressOf(fourth)).toBe(moved);
  });
});
