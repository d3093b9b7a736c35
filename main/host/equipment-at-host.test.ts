import { afterEach, beforeEach, expect, test } from 'vitest';
import check from '../samples/meter-check.json' with { type: 'json' };
import { readSample } from '../samples/samples.test-helper.ts';
import { archiveFolder, removeFolder, testHost, type TestHost } from './host.test-helper.ts';

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

const sample = readSample('equipment') as Record<string, unknown>;
/** The same liquid with so many percent more edges. */
const drifted = (percent: number, number: string, date: string): object => ({
  ...check, purpose: 'verification', certificate: { number, date, validUntil: '2099-12-31' },
  flowRates: check.flowRates.map(({ runs }) => ({ runs: runs.map((run) => ({ ...run, edges: Math.round(run.edges * (1 + percent / 100)) })) })),
});

test('HOST-90 the record of the connected bench holds, who saved it and why is kept, and a change on an old version is refused', async () => {
  const window = await house.window();
  const ofSimulated = { ...sample, ambientKpa: 100.1, changed: { by: 'Somebody before', reason: 'long ago' } };
  expect(await window.get('equipment.save', { document: ofSimulated, by: 'A. Tester', reason: 'Barometer.', basedOn: 0 })).toEqual({ problems: [] });
  expect(await window.get('equipment.save', { document: { ...sample, name: 'Real bench', controller: { model: 'real', serialNumber: '1' } } })).toEqual({ problems: [] });
  // Nothing connected: the latest of all. Nobody said who saved it.
  expect(await window.get('equipment.read', {})).toMatchObject({ name: 'Real bench' });
  expect((await window.get('equipment.read', {}))?.changed).toBeUndefined();
  await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
  expect(await window.get('equipment.read', {})).toMatchObject({ name: 'Simulated bench', ambientKpa: 100.1, changed: { by: 'A. Tester', reason: 'Barometer.' } });
  expect(await window.ask('equipment.save', { document: sample, by: 'B', reason: 'late', basedOn: 1 })).toMatchObject({ ok: false, failure: { code: 'bad-request', text: expect.stringContaining('Version 2') as string } });
  expect((await window.get('equipment.save', { document: { ...sample, ambientKpa: 'much' }, by: 'B', reason: '', basedOn: 2 })).problems).toMatchObject([{ path: 'ambientKpa' }]);
  expect(house.archive.library.equipmentVersion()).toBe(2);
});

test('HOST-91 the history has every version as it was saved, and the runs that hold it', async () => {
  const window = await house.window();
  expect(await window.get('equipment.history', {})).toMatchObject({ latest: 0, versions: [], cut: false });
  await window.get('equipment.save', { document: sample, by: 'A', reason: 'one' });
  await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
  for (const operator of ['A', 'B']) {
    const { id } = await window.get('run.open', { document: readSample('small-plan'), operator });
    await window.get('run.command', { id, command: { kind: 'abort' }, by: operator, commandId: operator });
    await window.until('run.status', (data) => data.id === id && data.status.mode === 'ended');
  }
  await window.get('equipment.save', { document: { ...sample, ambientKpa: 99 }, by: 'B', reason: 'two' });
  const { versions, latest, today } = await window.get('equipment.history', {});
  expect([latest, versions.map((v) => [v.version, v.runs, (v.document as { changed: { reason: string } }).changed.reason])]).toEqual([2, [[2, 0, 'two'], [1, 2, 'one']]]);
  expect(today).toMatch(/^\d{4}-\d{2}-\d{2}$/);
});

test('HOST-92 a check comes to what the command comes to; it is tried without being kept, kept once, and suspends with the runs in doubt', async () => {
  const window = await house.window();
  const tried = await window.get('meter-check.try', { document: check });
  expect(tried).toMatchObject({ problems: [], check: { no: 1, verdict: 'within', effect: 'came-into-force', rates: [{ runs: 3 }, { runs: 3 }, { runs: 3 }] } });
  expect((await window.get('meter-checks.list', {})).checks).toEqual([]);
  expect(await window.get('meter-check.add', { document: check })).toEqual(tried);
  expect(house.archive.meterChecks.list()).toMatchObject([{ no: 1, check: { judged: { verdict: 'within', effect: 'came-into-force' } } }]);
  expect(await window.get('meter-check.add', { document: check })).toMatchObject({ check: null, problems: [{ path: 'certificate.number', text: expect.stringContaining('kept already, as check 1') as string }] });
  const listed = await window.get('meter-checks.list', {});
  expect(listed).toMatchObject({ standing: { check: 1, suspended: false }, inForce: { meter: { certificate: { number: 'SIM-MC-26-01' } } }, latest: { certificate: { number: 'SIM-MC-26-01' } } });
  expect(listed.latest).not.toHaveProperty('judged');
  await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
  const { id } = await window.get('run.open', { document: readSample('small-plan'), operator: 'A' });
  const today = listed.today;
  expect(await window.get('meter-check.add', { document: drifted(2, 'BAD-1', today) })).toMatchObject({ check: { no: 2, verdict: 'outside', effect: 'suspended' } });
  expect(await window.get('meter-checks.list', {})).toMatchObject({ standing: { suspended: true, check: null }, doubtful: [{ id }], inForce: null });
  // Only whoever holds control keeps one.
  const other = await house.window('second');
  expect(await other.ask('meter-check.add', { document: drifted(0, 'X', today) })).toMatchObject({ ok: false, failure: { code: 'not-in-control' } });
  // One that was worked out beside another is not held against it: it is refused, or was worked out after that one was kept.
  const [one, two] = await Promise.all([window.ask('meter-check.add', { document: drifted(0, 'C-3', today) }), window.ask('meter-check.add', { document: drifted(0, 'C-4', today) })]);
  expect(one).toMatchObject({ ok: true, value: { check: { no: 3 } } });
  if (two.ok) expect(two).toMatchObject({ value: { check: { no: 4 } } });
  else expect(two).toMatchObject({ failure: { text: expect.stringContaining('Another check was kept meanwhile') as string } });
  expect(house.archive.meterChecks.list().map(({ no }) => no)).toEqual(two.ok ? [1, 2, 3, 4] : [1, 2, 3]);
});
