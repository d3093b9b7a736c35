import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { canRunElectron, type Machine } from './can-run.ts';

let folder: string;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-electron-'));
});

afterEach(() => rmSync(folder, { recursive: true, force: true }));

const machine = (more: Partial<Machine> = {}): Machine => ({ platform: 'linux', env: { DISPLAY: ':0' }, userId: 1000, electronFolder: folder, ...more });

function install(): void {
  mkdirSync(join(folder, 'dist'));
  writeFileSync(join(folder, 'path.txt'), 'electron');
  writeFileSync(join(folder, 'dist', 'electron'), '');
}

test('without the program file it cannot, whether it was never fetched or has gone', () => {
  expect(canRunElectron(machine())).toMatchObject({ can: false, why: expect.stringContaining('not installed') as string, fetch: false });
  writeFileSync(join(folder, 'path.txt'), 'electron');
  expect(canRunElectron(machine())).toMatchObject({ can: false, why: expect.stringContaining('not installed') as string });
});

test('HOST-105 it is fetched only where there is an installer, and nothing else stands against it', () => {
  writeFileSync(join(folder, 'install.js'), '');
  expect(canRunElectron(machine())).toMatchObject({ can: false, fetch: true });
  for (const more of [{ env: {} }, { env: { DISPLAY: '' } }, { userId: 0 }]) expect(canRunElectron(machine(more))).toMatchObject({ can: false, fetch: false });
});

test('HOST-35 a packaged program brings its own', () => {
  const packaged = join(folder, 'railhouse');
  expect(canRunElectron(machine({ packaged }))).toMatchObject({ can: false, fetch: false });
  writeFileSync(packaged, '');
  expect(canRunElectron(machine({ packaged }))).toEqual({ can: true, executable: packaged });
  expect(canRunElectron(machine({ packaged, env: {} }))).toMatchObject({ can: false, why: 'there is no display' });
});

test('with it, a display and a user that is not root it can', () => {
  install();
  const executable = join(folder, 'dist', 'electron');
  expect(canRunElectron(machine())).toEqual({ can: true, executable });
  expect(canRunElectron(machine({ env: { WAYLAND_DISPLAY: 'wayland-0' } }))).toEqual({ can: true, executable });
  expect(canRunElectron(machine({ platform: 'win32', env: {}, userId: null }))).toEqual({ can: true, executable });
  expect(canRunElectron(machine({ env: {} }))).toMatchObject({ can: false, why: 'there is no display' });
  expect(canRunElectron(machine({ userId: 0 }))).toMatchObject({ can: false, why: expect.stringContaining('root') as string });
});
