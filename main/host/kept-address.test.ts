import { chmodSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { keepAddress, readKeptAddress } from './kept-address.ts';

let folder: string;
let archive: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-address-'));
  archive = join(folder, 'archive.sqlite');
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const key = 'k'.repeat(32);
const file = (): string => `${archive}.address.json`;

test.skipIf(process.platform === 'win32')('HOST-107 port and key come back, from a file that only this account can read', () => {
  expect(readKeptAddress(archive)).toBeNull();
  keepAddress(archive, { port: 4711, key });
  expect(statSync(file()).mode & 0o777).toBe(0o600);
  expect(readKeptAddress(archive)).toEqual({ port: 4711, key });
  keepAddress(archive, { port: 4712, key });
  expect(readKeptAddress(archive)?.port).toBe(4712);
});

test.skipIf(process.platform === 'win32')('HOST-107 a key that others could read is not taken, and the next file hides its own again', () => {
  keepAddress(archive, { port: 4711, key });
  for (const mode of [0o640, 0o604, 0o620]) {
    chmodSync(file(), mode);
    expect(readKeptAddress(archive)).toEqual({ port: 4711, key: null });
  }
  keepAddress(archive, { port: 4711, key });
  expect(statSync(file()).mode & 0o777).toBe(0o600);
});

test('HOST-107 where the rights of a file cannot be told, the key is not kept', () => {
  keepAddress(archive, { port: 4711, key }, 'win32');
  expect(readFileSync(file(), 'utf8')).not.toContain(key);
  expect(readKeptAddress(archive, 'win32')).toEqual({ port: 4711, key: null });
});

test.each(['', '{', '{"port":0,"key":null}', '{"port":4711}', '{"port":4711,"key":"short"}', '[]'])('HOST-107 a file that holds %j is none', (text) => {
  writeFileSync(file(), text);
  expect(readKeptAddress(archive)).toBeNull();
});

test('HOST-107 a folder that is not there is no defect', () => {
  expect(() => keepAddress(join(folder, 'gone', 'archive.sqlite'), { port: 4711, key })).not.toThrow();
});
