/** A run of thousands of attempts, asked for whole by a window: what passes the thread of the host stays small (HOST-10, HOST-11). */
import { fork, spawn } from 'node:child_process';
import { once } from 'node:events';
import { readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import type { RunEvent } from '../../app/journal/events.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { wait } from '../../main/clock/clock.ts';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { exportRun, reduceState } from '../../main/export/export-run.ts';
import { benchPlaces } from '../../main/host/bench-place.ts';
import { Desk, type StartDesk } from '../../main/host/desk.ts';
import { deskProcess } from '../../main/host/desk-process.ts';
import { Host } from '../../main/host/host.ts';
import { messageText } from '../../main/host/outcome.ts';
import { TestWindow } from '../../main/host/host.test-helper.ts';
import { loadRun, loadRunGently } from '../../main/service/run-service.ts';
import { makeLongArchive } from '../bench/long-archive.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { serialPortSource } from '../../main/link/serial-ports.ts';

const MOST = 2 ** 20;
const worker = new URL('../../main/host/desk-worker.ts', import.meta.url);

let folder = '';
let attempts = 0;
let archive: Archive;
let host: Host;
const defects: unknown[] = [];
/** The largest that a desk handed to the host, and the host to a window, as JSON. */
const largest = { fromDesk: 0, toWindow: 0 };

const watched = (start: StartDesk): StartDesk => (ears) =>
  start({
    ...ears,
    onAnswer: (id, answer) => {
      largest.fromDesk = Math.max(largest.fromDesk, JSON.stringify(answer).length);
      ears.onAnswer(id, answer);
    },
  });

const hostWith = (desk: Desk): Host =>
  new Host({
    archive, software: 'test 1', clock: machineClock, entropy: machineEntropy, places: benchPlaces(machineClock, machineEntropy, serialPortSource),
    freeDiskBytes: () => null, serialPorts: () => Promise.resolve([]), onDefect: (error) => defects.push(error), desk,
  });

/** Those that are kept for a process. */
const exportFolders = (owner: number | undefined = process.pid): string[] =>
  readdirSync(tmpdir()).filter((name) => name.startsWith('railhouse-export-') && name.includes(`-${String(owner)}-`));

beforeAll(() => {
  folder = scratchFolder();
  const path = join(folder, 'archive.sqlite');
  attempts = makeLongArchive(path, 1, 8);
  const opened = openArchive(path, { now: () => machineClock.unixNow(), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
  host = hostWith(new Desk(watched(deskProcess(path, worker, 'like-the-host')), machineClock, watched(deskProcess(path, worker, 'gives-way'))));
});
afterAll(async () => {
  await host.close();
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

describe('HOST-10 HOST-11 HOST-20 HOST-53 a long run that a window asks for', () => {
  it('comes whole and in pieces of at most 1 MiB, to the window and from the desk', async () => {
    const before = exportFolders();
    const attach = host.attach.bind(host);
    host.attach = (send) =>
      attach((message) => {
        largest.toWindow = Math.max(largest.toWindow, messageText(message).length);
        send(message);
      });
    const window = new TestWindow(host);
    await window.get('hello', { name: 'watching' });
    const [run] = await window.get('runs.list', { limit: 500 });
    const id = run?.id ?? '';
    expect(run).toMatchObject({ attempts, points: attempts });

    const journal = async (): Promise<RunEvent[]> => {
      const events: RunEvent[] = [];
      for (let more = true; more; ) {
        const page = await window.get('run.journal', { id, fromSeq: events.length, limit: 5000 });
        events.push(...(page.events));
        more = page.more;
      }
      return events;
    };
    /** What stands of the journal, its length. */
    const condensed = async (): Promise<number> => {
      let next = 0;
      for (let more = true; more; ) ({ next, more } = await window.get('run.condensed', { id, fromSeq: next, limit: 5000 }));
      return next;
    };
    const [events, places, telemetry, files, head] = await Promise.all([journal(), condensed(), window.get('run.telemetry', { id, most: 2000 }), window.exported(id), window.get('archive.head', {})]);
    expect(events.length).toBe([...archive.events(id)].length);
    expect(places).toBe(events.length);
    expect(telemetry.frames.length).toBeGreaterThan(1000);
    expect(telemetry.frames.at(-1)?.number).toBe(attempts * 40);
    expect(head.archiveId).not.toBe('');

    const loaded = loadRun(archive, id);
    if (!loaded.ok) throw new Error(loaded.text);
    const direct = join(folder, 'direct');
    await exportRun(direct, { archive, runId: id, state: loaded.state, software: 'test 1' });
    expect([...files.keys()].sort()).toEqual(readdirSync(direct).sort());
    for (const [name, text] of files) expect(text === readFileSync(join(direct, name), 'utf8'), name).toBe(true);

    // The files together are many times that.
    expect([...files.values()].reduce((sum, text) => sum + text.length, 0)).toBeGreaterThan(3 * MOST);
    expect(largest.fromDesk).toBeGreaterThan(0);
    expect(largest.fromDesk).toBeLessThanOrEqual(MOST);
    expect(largest.toWindow).toBeLessThanOrEqual(MOST);

    // HOST-53
    const other = new TestWindow(host);
    await other.get('hello', { name: 'another' });
    expect((await window.get('archive.verify', {})).archiveId).toBe(head.archiveId);
    const shares = window.of('archive.checking').map(({ share }) => share);
    expect(shares.length).toBeGreaterThan(20);
    expect(shares).toEqual([...new Set(shares)].toSorted((a, b) => a - b));
    expect(shares.at(-1)).toBeLessThanOrEqual(1);
    expect(other.of('archive.checking')).toEqual([]);

    await host.close();
    expect(exportFolders()).toEqual(before);
  });
});

describe('HOST-19 the state that drives a long run', () => {
  it('is that of its journal but for the windows, and is never reduced', async () => {
    const id = archive.latestRun()?.id ?? '';
    const [whole, driving] = [loadRun(archive, id), await loadRunGently(archive, id, machineClock)];
    if (!whole.ok || !driving.ok) throw new Error('the run cannot be loaded');
    const withoutWindows = ({ state }: typeof whole) => ({
      ...state, keeps: null, points: state.points.map((point) => ({ ...point, attempts: point.attempts.map((attempt) => ({ ...attempt, window: attempt.window !== null })) })),
    });
    expect(withoutWindows(driving)).toEqual(withoutWindows(whole));
    expect(reduceState(whole.state).windows.length).toBe(attempts);
    expect(() => reduceState(driving.state)).toThrow('fold its journal');
    // All attempts share what stands for their windows.
    expect(new Set(driving.state.points.map(({ attempts: [attempt] }) => attempt?.window)).size).toBe(1);
  });
});

describe('HOST-17 HOST-18 the end of a host in the middle of long work', () => {
  it('is not held up by it, leaves nothing of it, and says so', async () => {
    const { path } = archive;
    const before = exportFolders();
    const ending = hostWith(new Desk(deskProcess(path, worker, 'like-the-host'), machineClock, deskProcess(path, worker, 'gives-way')));
    const window = new TestWindow(ending);
    const { id } = (await window.get('runs.list', { limit: 1 }))[0] ?? { id: '' };
    const asked = [window.ask('run.export', { id }), window.ask('archive.verify', {})];
    while (exportFolders().length === before.length) await wait(machineClock, 5);
    const { reason } = await ending.close();
    for (const answer of await Promise.all(asked)) expect(answer).toMatchObject({ ok: false, failure: { code: 'busy', text: expect.stringContaining('was ended before it was finished') as string } });
    expect(reason).toContain('ended before it was finished: an export, a check of the archive.');
    expect(exportFolders()).toEqual(before);
    expect(defects).toEqual([]);
  });

  it('leaves no export where the host has died', async () => {
    // It stands for the host: the exports are kept for it.
    const owner = spawn(process.execPath, ['-e', 'setTimeout(() => undefined, 1e8)']);
    try {
      const desk = fork(worker, [archive.path, String(owner.pid)], { serialization: 'advanced' });
      const ask = (id: number): void => void desk.send({ id, job: { kind: 'export', params: { id: archive.latestRun()?.id ?? '' }, software: 'test 1' } });
      ask(0);
      await once(desk, 'message');
      ask(1);
      while (exportFolders(owner.pid).length < 2) await wait(machineClock, 5);
      desk.disconnect();
      await once(desk, 'exit');
      expect(exportFolders(owner.pid)).toEqual([]);
    } finally {
      owner.kill('SIGKILL');
    }
  });
});
