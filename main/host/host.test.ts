import { mkdirSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { randomUUID } from 'node:crypto';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import type { Params } from '../../app/contract/contract.ts';
import { foldCondensed, upToPlace } from '../../app/journal/condensed.ts';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import { volts } from '../../app/quantities/quantity.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { connectBench } from '../bench/driver.ts';
import { servePtyBench } from '../bench/pty-bench.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { WallClock } from '../clock/clock.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { SimulatedChannel } from '../bench/simulated-channel.ts';
import { readSample } from '../samples/samples.test-helper.ts';
import type { BenchPlace } from './bench-place.ts';
import { archiveFolder, removeFolder, testHost, TestWindow, type TestHost } from './host.test-helper.ts';

let folder: string;
let house: TestHost;

beforeEach(() => {
  folder = archiveFolder();
  house = testHost(folder);
});

afterEach(async () => {
  await house.end();
  removeFolder(folder);
  expect(house.defects).toEqual([]);
});

const simulated = (more: object = {}): Params<'bench.connect'> => ({ bench: { kind: 'simulated', speed: 50, ...more } });
const scenario = (more: object): object => ({ scenario: { scenarioVersion: 1, seed: 1, injectors: 8, ...more } });
/** Without the points that look for a leak, which take most of its time. */
const smallPlan: Record<string, unknown> = { ...(readSample('small-plan') as object), zero: { windowS: 0 }, pair: { windows: 0 } };
const command = (window: TestWindow, id: string, body: Params<'run.command'>['command']) =>
  window.get('run.command', { id, command: body, by: 'Operator', commandId: randomUUID() });
const openRun = async (window: TestWindow, document: unknown = smallPlan) => (await window.get('run.open', { document, operator: 'Operator' })).id;
const mode = (window: TestWindow, wanted: string) => window.until('run.status', ({ status }) => status.mode === wanted);

describe('messages', () => {
  test('what is no message of the contract is dropped, and what is a wrong one is answered with what is wrong', async () => {
    const window = await house.window();
    for (const rubbish of [null, 1, 'stop', [], {}, { id: -1, name: 'stop' }, { id: 'x', name: 'stop' }, { name: 'stop', params: {} }]) window.send(rubbish);
    expect(await window.raw({ id: 10, name: 'no-such', params: {} })).toMatchObject({ id: 10, failure: { code: 'bad-request' } });
    expect(await window.raw({ id: 11, name: '__proto__', params: {} })).toMatchObject({ failure: { code: 'bad-request' } });
    expect(await window.raw({ id: 12, name: 'hello' })).toMatchObject({ failure: { code: 'bad-request' } });
    expect(await window.raw({ id: 13, name: 'manual.burst', params: { channel: 1.5, widthMs: 1, periodMs: 2, count: 3, more: 4 } })).toMatchObject({
      failure: { code: 'bad-request', text: expect.stringMatching(/channel.*more/s) as string },
    });
  });

  test('hello says what there is, before any bench', async () => {
    const window = new TestWindow(house.host);
    expect(await window.get('hello', { name: 'first' })).toMatchObject({
      software: 'test 1', archivePath: house.archive.path, bench: { state: 'absent' }, control: { mine: true, holder: 'first', windows: 1 }, openRun: null, manual: null,
    });
  });
});

describe('control', () => {
  test('is held by one window and taken over openly; the others watch and may stop', async () => {
    const first = await house.window('first');
    const second = await house.window('second');
    await first.get('bench.connect', simulated());
    expect(await second.ask('bench.disconnect', {})).toMatchObject({ ok: false, failure: { code: 'not-in-control', text: expect.stringContaining('first') as string } });
    expect(await second.get('stop', {})).toMatchObject({ accepted: true });
    first.forget();
    expect(await second.get('control.take', {})).toEqual({ mine: true, holder: 'second', windows: 2 });
    expect(first.of('control')).toEqual([{ mine: false, holder: 'second', windows: 2 }]);
    expect(await first.ask('manual.safe', {})).toMatchObject({ ok: false, failure: { code: 'not-in-control' } });
    second.close();
    await first.until('control', (c) => c.holder === null && c.windows === 1);
  });

  test('both windows get the frames', async () => {
    const windows = [await house.window('first'), await house.window('second')];
    await windows[0]?.get('bench.connect', simulated());
    for (const window of windows) expect((await window.until('frames', ({ frames }) => frames.length > 0)).frames[0]?.bootId).toMatch(/./);
  });
});

describe('a bench', () => {
  test('is connected, told of with its capabilities, and let go of', async () => {
    const window = await house.window();
    const view = await window.get('bench.connect', simulated());
    expect(view).toMatchObject({ state: 'connected', simulated: true, up: true, identity: { model: 'simulated-bench' }, capabilities: { channels: 8 } });
    expect(window.of('bench').map((b) => b.state)).toEqual(['connecting', 'connected']);
    expect(await window.get('bench.disconnect', {})).toMatchObject({ state: 'absent' });
  });

  test('that is not there is a failure with a sentence', async () => {
    const window = await house.window();
    const answer = await window.ask('bench.connect', { bench: { kind: 'port', path: '/dev/ttyTEST0' } });
    expect(answer).toMatchObject({ ok: false, failure: { code: 'bench', text: expect.stringContaining('/dev/ttyTEST0') as string } });
    expect((await window.get('hello', { name: 'first' })).bench.state).toBe('absent');
  });

  test('HOST-9 only ports that the machine lists are opened from a window', async () => {
    const window = await house.window();
    for (const path of ['/dev/null', '/dev/pts/0', `${house.archive.path}.lock`, '']) {
      const answer = await window.ask('bench.connect', { bench: { kind: 'port', path } });
      expect(answer).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
    }
    expect(window.of('bench')).toEqual([]);
  });

  test('with a scenario that cannot be is refused', async () => {
    const window = await house.window();
    expect(await window.ask('bench.connect', simulated({ scenario: { scenarioVersion: 7 } }))).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
  });

  test('ports are listed', async () => {
    expect(await (await house.window()).get('bench.ports', {})).toEqual([{ path: '/dev/ttyTEST0', description: 'Maker' }]);
  });
});

describe('work by hand', () => {
  test('sets a pressure and a supply, fires a counted burst, and makes safe', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    await window.until('frames', () => true);
    expect(await window.get('manual.burst', { channel: 3, widthMs: 4, periodMs: 20, count: 50 })).toMatchObject({ accepted: false, reason: expect.stringContaining('No supply') as string });
    expect(await window.get('manual.pressure', { kpa: 400 })).toMatchObject({ accepted: true });
    expect(await window.get('manual.supply', { volts: 14 })).toMatchObject({ accepted: true });
    await window.until('frames', ({ frames }) => frames.some((f) => Math.abs(f.supply - 14) < 0.05 && Math.abs(f.pressure - 400e3) < 2000));
    expect(await window.get('manual.burst', { channel: 3, widthMs: 4, periodMs: 20, count: 50 })).toMatchObject({ accepted: true });
    await window.until('manual', (m) => m?.doing === '50 of 50 pulses were driven on channel 3.');
    expect(window.of('frames').flatMap(({ frames }) => frames).at(-1)?.burst).toMatchObject({ active: false, commanded: 50, done: 50 });
    expect(await window.get('manual.safe', {})).toMatchObject({ accepted: true });
    await window.until('manual', (m) => m?.armed === false && m.doing.includes('safe'));
  });

  test.each([
    [{ channel: 9, widthMs: 4, periodMs: 20, count: 5 }, 'channels 1 to 8'],
    [{ channel: 1, widthMs: 19, periodMs: 20, count: 5 }, 'duty of 95.0 %'],
    [{ channel: 1, widthMs: 0.01, periodMs: 20, count: 5 }, 'pulses of 0.1 to 100 ms'],
    [{ channel: 1, widthMs: 4, periodMs: 2000, count: 5 }, 'periods of 1 to 1000 ms'],
  ])('refuses the burst %o', async (burst, reason) => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    await window.until('frames', () => true);
    expect(await window.get('manual.burst', burst)).toMatchObject({ accepted: false, reason: expect.stringContaining(reason) as string });
  });

  test('refuses a supply and a pressure that the bench does not reach', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    expect(await window.get('manual.supply', { volts: 19 })).toMatchObject({ accepted: false, reason: expect.stringContaining('0 to 18 V') as string });
    expect(await window.get('manual.pressure', { kpa: 700 })).toMatchObject({ accepted: false, reason: expect.stringContaining('100 to 600 kPa') as string });
  });

  test('a stop from a watching window cuts a burst', async () => {
    const window = await house.window();
    const watcher = await house.window('watcher');
    await window.get('bench.connect', simulated());
    await window.until('frames', () => true);
    await window.get('manual.supply', { volts: 12 });
    await window.until('frames', ({ frames }) => frames.some((f) => Math.abs(f.supply - 12) < 0.05));
    await window.get('manual.burst', { channel: 1, widthMs: 4, periodMs: 20, count: 100_000 });
    await window.until('frames', ({ frames }) => frames.some((f) => f.burst.active));
    expect(await watcher.get('stop', {})).toMatchObject({ accepted: true });
    watcher.forget();
    await watcher.until('frames', ({ frames }) => frames.some((f) => !f.burst.active && !f.armed && f.supply < 0.5));
  });

  test('a guard makes safe: fluid that is too warm', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated(scenario({ faults: [{ begins: { atS: 20 }, fault: { kind: 'over-temperature', riseC: 14 } }] })));
    await window.until('frames', () => true);
    const answer = await window.get('manual.supply', { volts: 12 });
    expect(answer.accepted).toBe(true);
    await window.until('manual', (m) => /temperature|fault/i.test(m?.against ?? ''));
    window.forget();
    await window.until('frames', ({ frames }) => frames.some((f) => !f.armed && f.supply < 0.5));
    expect(await window.get('manual.supply', { volts: 12 })).toMatchObject({ accepted: false });
  });

  test('RUN-131 makes safe when a driver does not switch off', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated(scenario({ faults: [{ begins: { atS: 0 }, fault: { kind: 'driver-shorted', channel: 2 } }] })));
    await window.until('frames', () => true);
    await window.get('manual.supply', { volts: 12 });
    await window.until('manual', (m) => /nothing (is|was) driven/.test(m?.doing ?? '') && m?.doing.includes('The bench was made safe') === true);
    await window.until('frames', ({ frames }) => frames.some((f) => !f.armed && f.supply < 0.5 && f.current < 0.05));
  });

  test('ends when the window that held control is gone for some seconds', async () => {
    const window = await house.window();
    const watcher = await house.window('watcher');
    await window.get('bench.connect', simulated());
    await window.until('frames', () => true);
    await window.get('manual.supply', { volts: 12 });
    window.close();
    await watcher.until('manual', (m) => m?.armed === false && m.doing.includes('has gone'));
  });
});

describe('a run', () => {
  test('HOST-170 goes from plan to the export and the report (REP-29), the bench stays connected, and the run is listed', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    expect(await window.until('run.opened', () => true)).toEqual({ id });
    expect(await command(window, id, { kind: 'start' })).toMatchObject({ accepted: true });
    await mode(window, 'measuring');
    expect(house.activity).toEqual([true]);
    expect(await window.ask('manual.supply', { volts: 12 })).toMatchObject({ ok: false, failure: { code: 'refused' } });
    expect(await window.ask('bench.disconnect', {})).toMatchObject({ ok: false, failure: { code: 'busy' } });
    expect(await window.ask('run.close', { id })).toMatchObject({ ok: false, failure: { code: 'busy' } });
    await mode(window, 'ended');
    expect(house.activity).toEqual([true, false]);
    // What was told is what is stored, without a gap.
    const told = window.of('run.events').flatMap(({ events }) => events);
    const { events: stored, more } = await window.get('run.journal', { id, fromSeq: 0, limit: 5000 });
    expect(more).toBe(false);
    expect(told).toEqual(stored.slice(-told.length));
    expect((await window.get('run.journal', { id, fromSeq: 3, limit: 2 }))).toEqual({ events: stored.slice(3, 5), more: true });
    // HOST-170: the condensed journal comes to the same, and says where to read on.
    const whole = stored.reduce<RunState | null>((state, { body }) => foldRun(state, body), null);
    let state: RunState | null = null;
    let read = 0;
    for (let [next, goesOn] = [0, true]; goesOn; ) {
      const page = await window.get('run.condensed', { id, fromSeq: next, limit: 20 });
      for (const event of page.events) state = foldCondensed(state, event);
      if (state !== null) state = upToPlace(state, page.next);
      read += page.events.length;
      [next, goesOn] = [page.next, page.more];
    }
    expect(state).toEqual(whole);
    expect(read).toBeLessThan(0.7 * stored.length);
    expect(JSON.stringify(await window.get('run.condensed', { id, fromSeq: 0, limit: 5000 })).length).toBeLessThan(0.6 * JSON.stringify(stored).length);
    expect(await window.ask('run.condensed', { id: 'another', fromSeq: 0, limit: 20 })).toMatchObject({ ok: false, failure: { code: 'no-run' } });
    const [row] = await window.get('runs.list', { limit: 10, text: 'rh4-0117' });
    expect(row).toMatchObject({ id, points: 12, counting: 12, ending: 'complete', operator: 'Operator' });
    const files = await window.exported(id);
    expect([...files.keys()]).toEqual(expect.arrayContaining(['attempts.csv', 'lines.csv', 'masses.csv', 'reduction.json', 'tables.csv']));
    expect(files.get('attempts.csv')?.split('\r\n').length).toBeGreaterThanOrEqual(13);
    const { frames } = await window.get('run.telemetry', { id, most: 50 });
    expect(frames.length).toBeGreaterThan(20);
    expect(frames.length).toBeLessThanOrEqual(50);
    const report = await window.get('run.report', { id, length: 'full' });
    expect(report.files.map((file) => file.name).sort()).toEqual(['report.csv', 'report.html', 'report.json']);
    expect((await window.get('export.piece', { export: report.export, file: 'report.html', from: 0 })).text).toContain('DRAFT, not issued');
    expect(await window.ask('run.report', { id: 'another', length: 'full' })).toMatchObject({ ok: false, failure: { code: 'no-run' } });
    // Of the exports the host keeps the latest four, and of each only the files that it has.
    for (let i = 0; i < 4; i += 1) await window.get('run.export', { id });
    const piece = (name: string, file: string) => window.ask('export.piece', { export: name, file, from: 0 });
    expect(await piece('export-1', 'attempts.csv')).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
    expect(await piece('export-6', 'attempts.csv')).toMatchObject({ ok: true });
    for (const file of ['../attempts.csv', '/etc/hostname', '']) expect(await piece('export-6', file)).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
    expect(await window.get('run.close', { id })).toEqual({});
    window.forget();
    await window.until('frames', () => true);
    expect((await window.get('hello', { name: 'first' }))).toMatchObject({ openRun: null, bench: { state: 'connected', up: true } });
    expect((await window.get('archive.verify', {})).passed).toBe(true);
  });

  test('a bad plan is refused with the place of the problem, in opening and in checking', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const document = { ...smallPlan, settleS: -1 };
    expect(await window.ask('run.open', { document, operator: 'Operator' })).toMatchObject({ ok: false, failure: { code: 'bad-request', text: expect.stringContaining('settleS') as string } });
    expect(await window.get('plan.check', { document })).toMatchObject({ problems: [{ path: 'settleS' }], sheet: null, points: 0 });
  });

  test('without a bench cannot be opened, and its plan is checked as far as that goes', async () => {
    const window = await house.window();
    expect(await window.ask('run.open', { document: smallPlan, operator: 'Operator' })).toMatchObject({ ok: false, failure: { code: 'no-bench' } });
    const { sheet, points } = await window.get('plan.check', { document: smallPlan });
    expect(points).toBe(12);
    expect(sheet?.lines.find((l) => l.rule === 'PRE-4')).toMatchObject({ result: 'warn', text: expect.stringContaining('no bench is connected') as string });
    expect(sheet?.lines.find((l) => l.rule === 'PRE-8')?.result).toBe('pass');
    await window.get('bench.connect', simulated());
    expect((await window.get('plan.check', { document: smallPlan })).sheet?.lines.find((l) => l.rule === 'PRE-4')?.result).toBe('pass');
  });

  test('a stop from a watching window ends it as emergency-stopped', async () => {
    const window = await house.window();
    const watcher = await house.window('watcher');
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    await watcher.get('stop', {});
    await mode(watcher, 'ended');
    expect(house.archive.run(id)?.status.ending).toBe('emergency-stopped');
    const stopped = watcher.of('run.events').flatMap(({ events }) => events).findLast((e) => e.body.kind === 'commanded');
    expect(stopped?.body).toMatchObject({ by: 'watcher', command: { kind: 'emergency-stop' } });
  });

  test('paused lets somebody work by hand, does not take that for a fault, and goes on to the same end', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    await command(window, id, { kind: 'pause-now' });
    await mode(window, 'paused');
    expect(await window.get('manual.supply', { volts: 12 })).toMatchObject({ accepted: true });
    await window.until('frames', ({ frames }) => frames.some((f) => f.armed && Math.abs(f.supply - 12) < 0.05));
    expect(await window.get('manual.burst', { channel: 2, widthMs: 4, periodMs: 20, count: 100 })).toMatchObject({ accepted: true });
    await window.until('manual', (m) => m?.doing.startsWith('100 of 100') === true);
    window.forget();
    // Resuming makes the bench safe first.
    expect(await command(window, id, { kind: 'resume' })).toMatchObject({ accepted: true });
    await mode(window, 'ended');
    expect(house.archive.run(id)?.status).toMatchObject({ ending: 'complete', counting: 12 });
    const kinds = [...house.archive.events(id)].map((e) => e.body.kind);
    expect(kinds).toContain('link-lost');
    expect(kinds).not.toContain('tripped');
    expect(kinds).not.toContain('held');
  });

  test('that takes the bench over from work by hand does not go on when the bench is made safe meanwhile', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated({ speed: 5 }));
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    await command(window, id, { kind: 'pause-now' });
    await mode(window, 'paused');
    expect(await window.get('manual.supply', { volts: 12 })).toMatchObject({ accepted: true });
    const [resumed, safe] = await Promise.all([command(window, id, { kind: 'resume' }), window.get('manual.safe', {})]);
    expect(safe).toMatchObject({ accepted: true });
    expect(resumed).toMatchObject({ accepted: false });
    expect(house.archive.run(id)?.status.ending).toBeNull();
    expect([...house.archive.events(id)].map((e) => e.body.kind)).not.toContain('resumed');
  });

  test('a second run is opened after the first without connecting again, and a stored one is opened to measure points again', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const first = await openRun(window);
    await command(window, first, { kind: 'start' });
    await mode(window, 'ended');
    const second = await openRun(window);
    expect(await window.ask('run.continue', { id: first })).toMatchObject({ ok: false, failure: { code: 'busy' } });
    await window.get('run.close', { id: second });
    expect(await window.get('run.continue', { id: first })).toEqual({ id: first });
    window.forget();
    expect(await command(window, first, { kind: 'measure-again', points: [0, 5] })).toMatchObject({ accepted: true });
    await window.until('run.events', ({ id, events }) => id === first && events.some((e) => e.body.kind === 'ended'));
    expect(house.archive.run(first)?.status).toMatchObject({ attempts: 14, counting: 12, ending: 'complete' });
    expect(await window.ask('run.continue', { id: 'no-such' })).toMatchObject({ ok: false, failure: { code: 'no-run' } });
  });

  test('every window is told what the opening of a run wrote, of a new one and of one that it has read before', async () => {
    const window = await house.window();
    const watcher = await house.window('watcher');
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await window.get('run.close', { id });
    await window.get('run.continue', { id });
    const written = [...house.archive.events(id)];
    const told = watcher.of('run.events').flatMap((data) => (data.id === id ? data.events : []));
    expect(told.slice(0, written.length)).toEqual(written);
    expect(written.filter((event) => event.body.kind === 'bench-connected')).toHaveLength(2);
  });

  test('whose archive cannot be written lets nobody work by hand until it is closed: its journal could not say so', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    await command(window, id, { kind: 'pause-now' });
    await mode(window, 'paused');
    const append = house.archive.append.bind(house.archive);
    house.archive.append = () => ({ ok: false, code: 'disk-full', text: 'The disk is full.' });
    // The first of them finds it out.
    for (let i = 0; i < 2; i += 1) {
      expect(await window.ask('manual.supply', { volts: 12 })).toMatchObject({ ok: false, failure: { code: 'refused', text: expect.stringContaining('Close it first') as string } });
    }
    house.archive.append = append;
    await window.get('run.close', { id });
    expect(await window.get('manual.supply', { volts: 12 })).toMatchObject({ accepted: true });
    expect([...house.archive.events(id)].at(-1)?.body.kind).toBe('paused');
  });

  test('a decision about an ended run needs no bench, once for each command id', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'ended');
    await window.get('bench.disconnect', {});
    const choose = { id, by: 'Engineer', commandId: 'choice-1', command: { kind: 'choose', point: 3, attempt: null, reason: 'Air was seen in the rail.' } } as const;
    window.forget();
    expect(await window.get('run.command', choose)).toMatchObject({ accepted: true });
    expect(await window.get('run.command', choose)).toMatchObject({ accepted: true });
    expect(window.of('run.events').flatMap(({ events }) => events.map((e) => e.body.kind))).toEqual(['commanded', 'chosen']);
    expect(house.archive.run(id)?.status.counting).toBe(11);
    expect(await window.get('run.command', { ...choose, commandId: 'choice-2', command: { ...choose.command, attempt: 9 } })).toMatchObject({ accepted: false });
    expect(await window.ask('run.command', { ...choose, commandId: 'choice-3', command: { kind: 'resume' } })).toMatchObject({ ok: false, failure: { code: 'no-run' } });
  });

  test('a run that was left in the middle takes decisions and notes when it is continued, and says so', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    // As a host that died then would have left it.
    const left = join(folder, 'left');
    mkdirSync(left);
    expect(await house.archive.backup(join(left, 'archive.sqlite'))).toMatchObject({ ok: true });
    await house.end();
    house = testHost(left);
    const later = await house.window();
    const note = { kind: 'note', point: null, attempt: null, injector: null, text: 'The door stood open.', mark: 'note' } as const;
    for (const [i, one] of [note, { kind: 'choose', point: 0, attempt: null, reason: 'r' } as const].entries()) {
      expect(await later.ask('run.command', { id, by: 'Engineer', commandId: `left-${i}`, command: one })).toMatchObject({ ok: false, failure: { code: 'refused', text: expect.stringContaining('Continue it on the bench') as string } });
    }
    expect(house.defects).toEqual([]);
  });

  test('HOST-50 a bench that another program left driven is made safe when it is connected', async () => {
    await house.end();
    const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1 }), machineClock);
    const connect = (options: Parameters<BenchPlace['connect']>[0]) =>
      connectBench({ channels: () => Promise.resolve([new SimulatedChannel(bench)]), clock: machineClock, entropy: machineEntropy, ...options });
    const before = await connect({ deadManMs: 2000, telemetryHz: 20 });
    if (!before.ok) throw new Error(before.text);
    await before.bench.perform({ kind: 'arm' });
    await before.bench.perform({ kind: 'set-supply', supply: volts(12) });
    // It dies, and the other program is there within the dead-man's time.
    await before.bench.close();
    house = testHost(folder, () => ({ simulated: true, description: 'a bench', clock: machineClock, close: () => undefined, connect }));
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const { frames } = await window.until('frames', ({ frames: some }) => some.some((frame) => !frame.armed));
    const safe = frames.find((frame) => !frame.armed);
    expect(safe).toMatchObject({ fault: null });
    expect(window.of('frames').flatMap(({ frames: some }) => some).some((frame) => frame.armed)).toBe(true);
    // Its dead-man would have said so: this host has told it.
    expect(await window.until('manual', (view) => view?.doing.includes('was still driven when it was connected') === true)).toMatchObject({ armed: false });
    bench.switchOff();
  });

  test('that is being opened while the host is ended is let go of before the archive is', async () => {
    await house.end();
    // As on a port: the clock of the bench does not end with it.
    const bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1 }), machineClock);
    const channels = (): Promise<SimulatedChannel[]> => Promise.resolve([new SimulatedChannel(bench)]);
    house = testHost(folder, () => ({
      simulated: true, description: 'a bench', clock: machineClock, close: () => undefined,
      connect: (options) => connectBench({ channels, clock: machineClock, entropy: machineEntropy, ...options }),
    }));
    const window = await house.window();
    await window.get('bench.connect', simulated());
    void window.ask('run.open', { document: smallPlan, operator: 'Operator' });
    // It is written down and waits for the first frame of its bench.
    while (house.archive.latestRun() === null) await new Promise(setImmediate);
    await house.host.close();
    bench.switchOff();
    // A run that goes on looks after its archive every second.
    let looked = 0;
    house.archive.strayed = () => {
      looked += 1;
      return null;
    };
    await new Promise((resolve) => setTimeout(resolve, 1500));
    expect(looked).toBe(0);
  });

  test('a host that is ended in the middle pauses it; the next host lists it as unfinished and continues it', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await window.until('run.events', ({ events }) => events.some((e) => e.body.kind === 'chosen'));
    await house.end();
    house = testHost(folder);
    const next = await house.window();
    expect((await next.get('hello', { name: 'next' })).openRun).toBeNull();
    const [row] = await next.get('runs.list', { limit: 1 });
    expect(row).toMatchObject({ id, ending: null });
    expect(row?.counting).toBeGreaterThan(0);
    await next.get('bench.connect', simulated());
    await next.get('run.continue', { id });
    await mode(next, 'paused');
    expect(await command(next, id, { kind: 'resume' })).toMatchObject({ accepted: true });
    await mode(next, 'ended');
    expect(house.archive.run(id)?.status).toMatchObject({ ending: 'complete', counting: 12 });
  });
});

describe('the library', () => {
  test('plans are kept in versions that never change', async () => {
    const window = await house.window();
    expect(await window.get('plans.save', { id: null, document: { ...smallPlan, settleS: -1 }, by: 'A' })).toMatchObject({ row: null, problems: [{ path: 'settleS' }] });
    const { row } = await window.get('plans.save', { id: null, document: smallPlan, by: 'A' });
    const id = row?.id ?? '';
    expect(row).toMatchObject({ version: 1, savedBy: 'A' });
    expect(await window.get('plans.save', { id, document: { ...smallPlan, name: 'Changed' }, by: 'B' })).toMatchObject({ row: { id, version: 2, name: 'Changed' } });
    expect(await window.get('plans.read', { id, version: 1 })).toMatchObject({ row: { savedBy: 'A' }, document: smallPlan });
    expect(await window.get('plans.list', {})).toMatchObject([{ id, version: 2 }]);
    expect(await window.get('plans.versions', { id })).toMatchObject([{ version: 2 }, { version: 1 }]);
    expect(await window.ask('plans.read', { id, version: 3 })).toMatchObject({ ok: false });
    expect(await window.ask('plans.save', { id: 'no-such', document: smallPlan, by: 'A' })).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
  });

  test('RUN-110 a run with a certificate that has ended is started by an explicit choice only', async () => {
    const window = await house.window();
    const sample = await window.get('equipment.read', {});
    await window.get('equipment.save', { document: { ...sample, pressure: { ...sample?.pressure, certificate: { number: 'P-1', date: '2020-01-01', validUntil: '2021-01-01' } } } });
    await window.get('bench.connect', simulated());
    const sheet = (await window.get('plan.check', { document: smallPlan })).sheet?.lines.find((l) => l.rule === 'PRE-12');
    expect(sheet).toMatchObject({ result: 'refuse', untraceable: expect.stringContaining('P-1, ended on 2021-01-01') as string });
    const id = await openRun(window);
    expect(await command(window, id, { kind: 'start' })).toMatchObject({ accepted: false, reason: expect.stringContaining('PRE-12') as string });
    expect(await command(window, id, { kind: 'accept-untraceable' })).toMatchObject({ accepted: true });
    expect(await command(window, id, { kind: 'start' })).toMatchObject({ accepted: true });
    await mode(window, 'ended');
    const files = await window.exported(id);
    // A file without rows has nothing that could be traced.
    for (const text of [...files.values()].filter((whole) => whole.trimEnd().includes('\n'))) expect(text).toContain('P-1, ended on 2021-01-01');
  });

  test('EQ-7 the record of a real bench does not serve the simulated one', async () => {
    const window = await house.window();
    const sample = await window.get('equipment.read', {});
    await window.get('equipment.save', { document: { ...sample, name: 'Real bench', controller: { model: 'real', serialNumber: '1' } } });
    expect((await window.get('equipment.read', {}))?.name).toBe('Real bench');
    await window.get('bench.connect', simulated());
    expect((await window.get('equipment.read', {}))?.name).toBe('Simulated bench');
  });

  test.skipIf(process.platform === 'win32')('EQ-7 PRE-40 on a port nothing is opened without a record, and nothing started with one of another bench; work by hand may go on', async () => {
    const bench = await servePtyBench(scenarioSchema.parse({ scenarioVersion: 1, seed: 5 }), new WallClock(1));
    try {
      house.ports.push(bench.path);
      const window = await house.window();
      const sample = await window.get('equipment.read', {});
      expect(await window.get('bench.connect', { bench: { kind: 'port', path: bench.path } })).toMatchObject({ identity: { serialNumber: 'SIM-0005' } });
      expect(await window.get('equipment.read', {})).toBeNull();
      const refused = await window.ask('run.open', { document: smallPlan, operator: 'Operator' });
      expect(refused).toMatchObject({ ok: false, failure: { code: 'refused', text: expect.stringContaining('simulated-bench SIM-0005 needs the record of that bench') as string } });
      expect(house.archive.runs({ limit: 10 })).toEqual([]);
      await window.until('frames', ({ frames }) => frames.length > 0);
      const byHand = await window.get('manual.supply', { volts: 12 });
      expect(byHand, byHand.reason).toMatchObject({ accepted: true });
      expect(await window.get('manual.safe', {})).toMatchObject({ accepted: true });

      expect(await window.get('equipment.save', { document: sample })).toEqual({ problems: [] });
      const other = await openRun(window);
      expect(await command(window, other, { kind: 'start' })).toMatchObject({ accepted: false, reason: expect.stringContaining('belongs to the controller simulated-bench SIM-0001') as string });
      await command(window, other, { kind: 'abort' });
      await mode(window, 'ended');

      await window.get('equipment.save', { document: { ...sample, controller: { model: 'simulated-bench', serialNumber: 'SIM-0005' } } });
      const own = await openRun(window);
      expect(await command(window, own, { kind: 'start' })).toMatchObject({ accepted: true });
      await window.get('stop', {});
      await mode(window, 'ended');
    } finally {
      bench.close();
    }
  });

  test('equipment is that of the simulated bench until one is saved, and a run stores what was saved', async () => {
    const window = await house.window();
    const sample = await window.get('equipment.read', {});
    expect(sample?.equipmentVersion).toBe(2);
    expect((await window.get('equipment.save', { document: { ...sample, ambientKpa: -1 } })).problems).toMatchObject([{ path: 'ambientKpa' }]);
    expect(await window.get('equipment.save', { document: { ...sample, ambientKpa: 99.1 } })).toEqual({ problems: [] });
    expect((await window.get('equipment.read', {}))?.ambientKpa).toBe(99.1);
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    const { events } = await window.get('run.journal', { id, fromSeq: 0, limit: 1 });
    expect(events[0]?.body).toMatchObject({ kind: 'opened', equipment: { ambientKpa: 99.1 } });
  });

  test('injectors are taken in and changed', async () => {
    const window = await house.window();
    const parts = await window.get('parts.save', { parts: [{ order: 'O-1', type: 'T', serialNumber: '1', channel: 1, coilResistanceOhm: 14.5 }, { type: 'T', serialNumber: '2' }] });
    expect(parts).toMatchObject([{ serialNumber: '1', channel: 1, coilResistanceOhm: 14.5, condition: '' }, { serialNumber: '2', channel: null, coilResistanceOhm: null }]);
    expect(await window.get('parts.list', {})).toEqual(parts);
    expect(await window.ask('parts.save', { parts: [{ type: 'T', serialNumber: '2' }] })).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
  });

  test('HOST-180, HOST-181 an injector is withdrawn by the window that holds control, is listed with who and why, and is taken back', async () => {
    const window = await house.window();
    const [first, second] = await window.get('parts.save', { parts: [{ type: 'T', serialNumber: '1' }, { type: 'T', serialNumber: '2' }] });
    const watching = await house.window();
    expect(await watching.ask('parts.withdraw', { id: second?.id ?? '', by: 'B', reason: 'mistyped' })).toMatchObject({ ok: false });
    expect(await window.ask('parts.withdraw', { id: second?.id ?? '', by: 'A', reason: ' ' })).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
    expect(await window.get('parts.withdraw', { id: second?.id ?? '', by: 'A', reason: 'mistyped' })).toEqual([first]);
    expect(await watching.get('parts.withdrawn', {})).toMatchObject([{ part: { serialNumber: '2' }, by: 'A', reason: 'mistyped' }]);
    expect(await window.ask('parts.withdraw', { id: second?.id ?? '', by: 'A', reason: 'again' })).toMatchObject({ ok: false, failure: { code: 'bad-request' } });
    expect(await window.get('parts.take-back', { id: second?.id ?? '', by: 'A' })).toEqual([first, second]);
    expect(await watching.get('parts.withdrawn', {})).toEqual([]);
  });

  test('HOST-14 RUN-7 another command under an id that was answered is refused and not carried out', async () => {
    const window = await house.window();
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    const start = { id, command: { kind: 'start' as const }, by: 'Operator', commandId: 'one' };
    const first = await window.get('run.command', start);
    expect(first.accepted).toBe(true);
    expect(await window.get('run.command', start)).toEqual(first);
    expect(await window.get('run.command', { ...start, command: { kind: 'abort' } })).toMatchObject({ accepted: false, reason: expect.stringContaining('not carried out') as string });
    await window.until('run.status', ({ status }) => status.mode === 'measuring' || status.mode === 'proving');
    expect(await window.get('run.command', { ...start, command: { kind: 'abort' }, commandId: 'two' })).toMatchObject({ accepted: true });
    await mode(window, 'ended');
  });

  test('HOST-70 the stop of a run is taken from a window without control, and no other command is', async () => {
    const window = await house.window('first');
    const other = await house.window('second');
    await window.get('bench.connect', simulated());
    const id = await openRun(window);
    await command(window, id, { kind: 'start' });
    await mode(window, 'measuring');
    for (const kind of ['abort', 'pause-now', 'skip-wait', 'acknowledge'] as const) {
      expect(await other.ask('run.command', { id, command: { kind }, by: 'Operator', commandId: randomUUID() }), kind).toMatchObject({ ok: false, failure: { code: 'not-in-control' } });
    }
    expect(await command(other, id, { kind: 'emergency-stop' })).toMatchObject({ accepted: true });
    await mode(window, 'ended');
  });

  test('HOST-15 beside the archive are 20 backups of windows at most', async () => {
    const window = await house.window();
    for (let i = 10; i < 30; i += 1) writeFileSync(join(folder, `archive 2026-01-01 00.00.${i}.sqlite`), '');
    writeFileSync(join(folder, 'archive of somebody.sqlite'), '');
    expect(await window.ask('archive.backup', {})).toMatchObject({ ok: false, failure: { code: 'archive', text: expect.stringContaining('20 backups') as string } });
    rmSync(join(folder, 'archive 2026-01-01 00.00.10.sqlite'));
    expect((await window.get('archive.backup', {})).bytes).toBeGreaterThan(0);
    expect(await window.ask('archive.backup', {})).toMatchObject({ ok: false, failure: { code: 'archive' } });
  });

  test('a backup is made beside the archive', async () => {
    const window = await house.window();
    const { path, bytes } = await window.get('archive.backup', {});
    expect(path.startsWith(folder)).toBe(true);
    expect(bytes).toBeGreaterThan(0);
  });
});
