/** The desktop's real host and desks, as built, under a shell whose Electron is a double: processes look to them like utility processes. */
import { mkdirSync, readdirSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { build } from 'vite';
import { afterAll, beforeAll, expect, test, vi } from 'vitest';
import { portWanted } from '../../main/electron/messages.ts';
import { startShell } from '../../main/electron/shell.ts';
import { electronDouble, HostThread } from '../../main/electron/shell.test-helper.ts';
import { makeLongArchive } from '../bench/long-archive.ts';
import { scratchFolder } from '../builders/in-process.ts';

const house = join(import.meta.dirname, '..', '..');
/** Inside the house: what is built loads the native packages from there. */
const hostFolder = join(house, 'dist', `desks-${process.pid}`);
let folder = '';

beforeAll(async () => {
  folder = scratchFolder();
  mkdirSync(join(folder, 'window'));
  await build({ configFile: join(house, 'main', 'electron', 'vite.config.ts'), mode: 'production', logLevel: 'error', build: { outDir: hostFolder } });
});
afterAll(() => {
  for (const made of [folder, hostFolder]) rmSync(made, { recursive: true, force: true });
});

interface Answer {
  readonly id?: number;
  readonly event?: string;
  readonly result?: unknown;
  readonly failure?: { readonly code: string; readonly text: string };
}

test('HOST-51 HOST-52 the shell starts a process for pages with the host and one for long work with the first of it; one that dies is started anew, and no export stays', async () => {
  const archivePath = join(folder, 'archive.sqlite');
  const attempts = makeLongArchive(archivePath, 1, 8);
  const { electron, state, double } = electronDouble((file, args) => new HostThread(file, args));
  startShell(electron, { hostFolder, windowFolder: join(folder, 'window'), archivePath });
  await vi.waitUntil(() => state.windows.length === 1);
  const priorities = (): unknown[] => state.desks.map(({ args }) => args.at(-1));
  const exported = (): string[] => readdirSync(tmpdir()).filter((name) => name.startsWith('railhouse-export-') && name.includes(`-${process.pid}-`));
  try {
    const contents = state.windows[0]?.contents;
    double.ipcMain.emit(portWanted, { sender: contents, senderFrame: contents?.mainFrame });
    const port = contents?.posted[0]?.ports[0];
    if (port === undefined) throw new Error('no port');
    const heard = new Map<number, Answer>();
    let onChecking = (): void => undefined;
    port.on('message', ({ data }: { data: Answer }) => {
      if (data.id !== undefined) heard.set(data.id, data);
      else if (data.event === 'archive.checking') onChecking();
    });
    port.start();
    let asked = 0;
    const begin = (name: string, params: object): (() => Promise<Answer | undefined>) => {
      const id = (asked += 1);
      port.postMessage({ id, name, params });
      return async () => {
        await vi.waitUntil(() => heard.has(id), { timeout: 60_000 });
        return heard.get(id);
      };
    };
    const ask = (name: string, params: object) => begin(name, params)();
    await ask('hello', { name: 'page' });
    const [run] = (await ask('runs.list', { limit: 1 }))?.result as { readonly id: string; readonly attempts: number }[];
    expect(run).toMatchObject({ attempts });
    expect(priorities()).toEqual(['like-the-host']);
    expect((await ask('run.export', { id: run?.id }))?.result).toMatchObject({ files: expect.arrayContaining([expect.objectContaining({ name: 'masses.csv' })]) as unknown });
    expect(priorities()).toEqual(['like-the-host', 'gives-way']);
    expect(exported()).toHaveLength(1);

    // In the middle of a check.
    onChecking = () => {
      for (const desk of state.desks) desk.kill();
      onChecking = () => undefined;
    };
    const cut = begin('archive.verify', {});
    expect((await cut())?.failure).toMatchObject({ code: 'defect', text: expect.stringContaining('it ended with code') as string });
    expect((await ask('runs.list', { limit: 1 }))?.result).toHaveLength(1);
    expect((await ask('archive.verify', {}))?.result).toMatchObject({ archiveId: expect.any(String) as unknown });
    expect(priorities().toSorted()).toEqual(['gives-way', 'gives-way', 'like-the-host', 'like-the-host']);

    begin('archive.verify', {});
    double.app.quit();
    await vi.waitUntil(() => state.over, { timeout: 40_000 });
    expect(exported()).toEqual([]);
    expect(state.errors).toEqual([]);
  } finally {
    for (const one of [...state.hosts, ...state.desks]) one.kill();
  }
}, 180_000);
