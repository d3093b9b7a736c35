/** An archive that goes astray while no run is open, seen by the windows of its host. */
import { existsSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { parseMeterCheck } from '../../app/meter-check/meter-check.ts';
import type { StatedVisit } from '../../app/visit/visit.ts';
import { openArchive } from '../archive/archive.ts';
import { machineClock } from '../clock/machine.ts';
import meterCheck from '../samples/meter-check.json' with { type: 'json' };
import { readSample } from '../samples/samples.test-helper.ts';
import { Keeping } from './keeping.ts';
import { archiveFolder, removeFolder, testHost, type TestHost } from './host.test-helper.ts';

let folder: string;
let house: TestHost;
let file: string;

beforeEach(() => {
  folder = archiveFolder();
  house = testHost(folder);
  file = house.archive.path;
});

afterEach(async () => {
  await house.end();
  removeFolder(folder);
  expect(house.defects).toEqual([]);
});

const plan = readSample('small-plan');
const elsewhere = (): string => join(folder, 'elsewhere.sqlite');

const attacks: Readonly<Record<string, () => void>> = {
  'was removed or renamed': () => rmSync(file),
  'was replaced by another file': () => {
    writeFileSync(elsewhere(), 'something else');
    renameSync(elsewhere(), file);
  },
};

describe('ARC-45 an archive that goes astray while no run is open', () => {
  test.each(Object.entries(attacks))('is told to every window without being asked, saved, and no run is opened on it: %s', async (words, attack) => {
    const [first, second] = [await house.window(), await house.window('second')];
    await first.get('plans.save', { id: null, document: plan, by: 'A' });
    await first.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
    attack();
    const struck = machineClock.now();
    for (const window of [first, second]) {
      const { problems } = await window.until('archive', (event) => event.problems.some((text) => text.includes(words)));
      expect(problems[0]).toContain('No run can be opened and nothing can be saved until it lies there again.');
    }
    const noticed = machineClock.now() - struck;
    process.stdout.write(`noticed after ${noticed.toFixed(0)} ms\n`);
    const { problems } = await first.until('archive', (event) => event.problems.some((text) => text.includes('read back: 0 runs')));
    const copy = /saved to (\S+\.sqlite) and read back/.exec(problems[0] ?? '')?.[1] ?? '';
    const saved = openArchive(copy, { readOnly: true });
    if (!saved.ok) throw new Error(saved.text);
    expect(saved.archive.library.plans()).toHaveLength(1);
    saved.archive.close();
    expect(await first.ask('run.open', { document: plan, operator: 'A' })).toMatchObject({ ok: false, failure: { code: 'archive', text: expect.stringContaining(words) as string } });
    expect(house.archive.latestRun()).toBeNull();
    // A window that comes later is told at its hello.
    expect((await (await house.window('third')).get('hello', { name: 'third' })).archiveProblems[0]).toContain(words);
  });

  test('whoever works by hand finds the bench safe', async () => {
    const window = await house.window();
    await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
    await window.until('frames', ({ frames }) => frames.length > 0);
    expect(await window.get('manual.supply', { volts: 12 })).toMatchObject({ accepted: true });
    await window.until('manual', (view) => view?.armed === true);
    window.forget();
    rmSync(file);
    await window.until('manual', (view) => view?.armed === false);
  });

  test('between two looks too, no run is opened; moved back, everything goes on, and nothing was lost', async () => {
    const window = await house.window();
    await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
    renameSync(file, elsewhere());
    expect(await window.ask('run.open', { document: plan, operator: 'A' })).toMatchObject({ ok: false, failure: { code: 'archive' } });
    await window.until('archive', ({ problems }) => problems[0]?.includes('saved to') === true);
    window.forget();
    renameSync(elsewhere(), file);
    await window.until('archive', ({ problems }) => problems.length === 0);
    const { id } = await window.get('run.open', { document: plan, operator: 'A' });
    expect(house.archive.latestRun()?.id).toBe(id);
  });
});

test('HOST-34 a head that could not be kept is told to every window, also to one that comes later', async () => {
  const window = await house.window();
  house.host.noteKeeping('The head could not be kept.');
  await window.until('archive', ({ problems }) => problems.includes('The head could not be kept.'));
  expect((await (await house.window('later')).get('hello', { name: 'later' })).archiveProblems).toEqual(['The head could not be kept.']);
});

describe('ARC-46 what went into a file that has strayed', () => {
  test('is not said to be saved, whatever it was', () => {
    const { archive } = house;
    const check = parseMeterCheck(meterCheck);
    if (!check.ok) throw new Error('the sample is no meter check');
    rmSync(file);
    const strayed = { ok: false, code: 'strayed' };
    const visit: StatedVisit = { visitVersion: 1, serialNumber: 'RH4-0117', type: '', order: '', stage: 'as-found', doneOn: '2026-03-31', by: 'A', visual: 'dry', coil: null, insulation: null, leak: null, spray: '', remark: '', corrects: null };
    expect(archive.library.savePlan({ id: null, name: 'P', document: plan, by: 'A' })).toMatchObject(strayed);
    expect(archive.library.saveEquipment({})).toMatchObject(strayed);
    expect(archive.library.saveParts([])).toMatchObject(strayed);
    expect(archive.meterChecks.add(check.check)).toMatchObject(strayed);
    expect(archive.records.save({ kind: 'qualification', name: 'B', by: 'A', document: {} })).toMatchObject(strayed);
    expect(archive.visits.add(visit, [])).toMatchObject(strayed);
    expect(existsSync(file)).toBe(false);
  });
});

test('ARC-60 what is so for as long as the archive is open stands beside what happens', () => {
  const keeping = new Keeping({ strayed: () => null, rescue: () => '' }, () => undefined, 'It lies on a share.');
  keeping.note('A head was not kept.');
  expect(keeping.problems).toEqual(['A head was not kept.', 'It lies on a share.']);
});
