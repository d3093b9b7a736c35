/** One writer for an archive, whatever a window asks of its host: two processes on one file. */
import { spawn, type ChildProcess } from 'node:child_process';
import { once } from 'node:events';
import { rmSync, symlinkSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { samplePath } from '../../main/samples/samples.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { socketWindow } from './socket-window.ts';
import { onWindows } from '../builders/systems.ts';

const command = join(import.meta.dirname, '..', '..', 'main', 'cli', 'main.ts');

let folder = '';
let archive = '';
let host: ChildProcess | null = null;

beforeEach(() => {
  folder = scratchFolder();
  archive = join(folder, 'archive.sqlite');
});
afterEach(async () => {
  if (host !== null && host.exitCode === null) {
    const ended = once(host, 'exit');
    host.kill('SIGTERM');
    await ended;
  }
  rmSync(folder, { recursive: true, force: true });
});

async function second(): Promise<unknown> {
  const [code] = (await once(spawn(process.execPath, [command, 'sweep', samplePath('small-plan'), '--archive', archive, '--operator', 'A. Tester'], { stdio: 'ignore' }), 'exit')) as [unknown];
  return code;
}

describe('HOST-8 HOST-9 a second writer is refused', () => {
  it.each([[[]], [['named as a port by whoever started the host']]])('after a window asked to connect to the archive, its lock, its log and links to them %s', async (named) => {
    const link = join(folder, 'ttyUSB0');
    if (!onWindows) symlinkSync(`${archive}.lock`, link);
    const paths = [`${archive}.lock`, archive, `${archive}-wal`, `${archive}-shm`, link];
    host = spawn(process.execPath, [command, 'window', '--archive', archive, ...(named.length > 0 ? ['--port', ...paths] : [])], { stdio: ['ignore', 'pipe', 'ignore'] });
    const window = await socketWindow(host);
    expect(await second()).toBe(7);
    for (const path of paths) await expect(window.ask('bench.connect', { bench: { kind: 'port', path } })).rejects.toThrow(/port/);
    expect(await second()).toBe(7);
  });
});
