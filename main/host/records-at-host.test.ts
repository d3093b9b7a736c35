import { afterEach, beforeEach, expect, test } from 'vitest';
import equipmentSample from '../samples/equipment.json' with { type: 'json' };
import { evaluateQualification, qualificationSchema } from '../../app/qualification/qualification.ts';
import { keptDetails } from '../../app/report/details.ts';
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

const record = (more: object = {}): object => ({ typeRecordVersion: 1, type: 'P4', staticFlowGPerMin: 240, ...more });

test('HOST-130 HOST-131 type records are kept in versions with who and why, held against their rules, and a change on an old version is refused', async () => {
  const window = await house.window();
  const save = (document: unknown, basedOn: number, by = 'A') => window.ask('types.save', { document, by, reason: 'measured', basedOn });
  expect(await save(record(), 0)).toMatchObject({ ok: true, value: { version: 1, problems: [] } });
  expect(await save(record({ staticFlowGPerMin: 250, changed: { by: 'X', reason: 'old' } }), 1, 'B')).toMatchObject({ ok: true, value: { version: 2 } });
  expect(await save(record({ staticFlowGPerMin: 260 }), 1)).toMatchObject({ ok: false, failure: { code: 'bad-request', text: expect.stringContaining('Version 2 of P4') as string } });
  expect(await save(record({ maxVoltageV: 'much', type: 'K2' }), 0)).toMatchObject({ ok: true, value: { version: null, problems: [{ path: 'maxVoltageV' }] } });
  expect(await save(record({ type: 'K2', template: { axes: {} } }), 0)).toMatchObject({ ok: true, value: { version: null, problems: expect.arrayContaining([expect.objectContaining({ path: 'template.axes.widthMs' })]) as unknown } });
  expect(await save(record({ type: 'K2' }), 0)).toMatchObject({ ok: true, value: { version: 1 } });
  const { types, cut } = await window.get('types.list', {});
  expect(cut).toBe(false);
  expect(types).toMatchObject([
    { type: 'K2', version: 1, savedBy: 'A' },
    { type: 'P4', version: 2, savedBy: 'B', document: { staticFlowGPerMin: 250, changed: { by: 'B', reason: 'measured' } } },
  ]);
  expect(await window.get('types.versions', { type: 'P4' })).toMatchObject({ cut: false, versions: [{ version: 2 }, { version: 1, savedBy: 'A', document: { staticFlowGPerMin: 240 } }] });
  expect(await window.get('types.versions', { type: 'none' })).toEqual({ cut: false, versions: [] });
});

test('HOST-130 a list that is too long for a window ends, and says so', async () => {
  const window = await house.window();
  const template = { axes: { voltageV: [14], pressureKpa: [400], widthMs: Array.from({ length: 9000 }, (_, i) => 3 + i / 10_000), periodMs: [20], replicates: 1 } };
  for (let i = 0; i < 8; i += 1) await window.get('types.save', { document: record({ template, staticFlowGPerMin: 200 + i }), by: 'A', reason: 'long', basedOn: i });
  const { versions, cut } = await window.get('types.versions', { type: 'P4' });
  expect(cut).toBe(true);
  expect(versions.length).toBeLessThan(8);
  expect(versions[0]).toMatchObject({ version: 8 });
});

test('HOST-160 REP-60 details of reports are kept in versions with who and why, held against their rules, and a change on an old version is refused', async () => {
  const window = await house.window();
  const details = (more: object = {}): object => ({ reportDetailsVersion: 1, laboratory: { name: 'Bench house' }, ...more });
  const save = (document: unknown, basedOn: number, name = 'Harbour works') => window.ask('details.save', { name, document, by: 'A', reason: 'agreed', basedOn });
  expect(await save(details(), 0)).toMatchObject({ ok: true, value: { version: 1, problems: [] } });
  expect(await save(details({ limits: [{ of: 'slope', low: 4, high: 3 }] }), 1)).toMatchObject({ ok: true, value: { version: null, problems: [{ path: 'limits[0]', text: expect.stringContaining('low must be below high') as string }] } });
  expect(await save({ nonsense: true }, 1)).toMatchObject({ ok: true, value: { version: null } });
  expect(await save(details({ limits: [{ of: 'slope', low: 3, high: 4 }] }), 1)).toMatchObject({ ok: true, value: { version: 2 } });
  expect(await save(details({ condition: 'clean' }), 1)).toMatchObject({ ok: false, failure: { code: 'bad-request', text: expect.stringContaining('Version 2 of Harbour works') as string } });
  expect(await save(details({ condition: 'clean' }), 0, 'Another')).toMatchObject({ ok: true, value: { version: 1 } });
  const { details: kept, cut } = await window.get('details.list', {});
  expect(cut).toBe(false);
  expect(kept).toMatchObject([{ name: 'Another', version: 1, savedBy: 'A' }, { name: 'Harbour works', version: 2 }]);
  expect(kept.map(({ document }) => keptDetails(document))).toMatchObject([{ condition: 'clean', limits: [] }, { laboratory: { name: 'Bench house' }, limits: [{ of: 'slope', low: 3, high: 4 }] }]);
});

const controller = equipmentSample.controller;
const bench = `${controller.model} ${controller.serialNumber}`;
const sheet = (more: object = {}): object => ({
  qualificationVersion: 1, controller, validHours: 24, edgesPerMl: 48, limits: { zeroMlMin: 1, ventedKpa: 2, supplyMv: 20, clockPpm: 200, leakMlMin: 1 },
  zero: { edges: 0, seconds: 60, source: 'bench' }, vented: { kpa: 0, source: 'by-hand' }, supply: [9, 12, 14].map((setV) => ({ setV, readV: setV, source: 'bench' })),
  clock: { ppm: 1, uncertaintyPpm: 1, source: 'bench' }, leak: { edges: 0, seconds: 60, kpa: 400, source: 'bench' }, reference: { serialNumber: 'R', inside: true, text: 'no signal', source: 'bench' }, ...more,
});

test('HOST-132 a bench at rest is read over a span of its own time; it is asked for nothing, and a bench that goes is told', async () => {
  const window = await house.window();
  expect(await window.ask('qualification.read', { seconds: 1 })).toMatchObject({ ok: false, failure: { code: 'no-bench' } });
  await window.get('bench.connect', { bench: { kind: 'simulated', speed: 20 } });
  const read = await window.get('qualification.read', { seconds: 20 });
  expect(read).toMatchObject({ driven: false, edges: 0 });
  expect(read.seconds).toBeGreaterThanOrEqual(20);
  expect(read.seconds).toBeLessThan(23);
  expect(Math.abs(read.pressureKpa)).toBeLessThan(500);
  expect(Math.abs(read.clock?.ppm ?? Infinity)).toBeLessThan(500);
  const reading = window.ask('qualification.read', { seconds: 600 });
  await window.get('bench.disconnect', {});
  expect(await reading).toMatchObject({ ok: false, failure: { text: expect.stringContaining('Nothing was read') as string } });
});

test('HOST-133 PLAN-97 PRE-66 a sheet is dated and signed by the host, and a plan that requires a qualification starts only while the latest one holds', async () => {
  const window = await house.window();
  await window.get('bench.connect', { bench: { kind: 'simulated', speed: 50 } });
  const requiring = { ...(readSample('small-plan') as object), qualification: 'required' };
  const line = async () => (await window.get('plan.check', { document: requiring })).sheet?.lines.find((l) => l.rule === 'PRE-66');
  expect(await line()).toMatchObject({ result: 'refuse', text: expect.stringContaining(`no qualification of ${bench}`) as string });
  const { id } = await window.get('run.open', { document: requiring, operator: 'A' });
  expect(await window.get('run.command', { id, command: { kind: 'start' }, by: 'A', commandId: 'one' })).toMatchObject({ accepted: false, reason: expect.stringContaining('PRE-66') as string });
  await window.get('run.command', { id, command: { kind: 'abort' }, by: 'A', commandId: 'two' });
  await window.until('run.status', (data) => data.id === id && data.status.mode === 'ended');
  expect((await window.get('qualification.keep', { document: sheet({ validHours: -1 }), by: 'A' })).problems).toMatchObject([{ path: 'validHours' }]);
  expect(await window.get('qualification.keep', { document: sheet({ by: 'Somebody', doneAt: '1999-01-01T00:00:00.000Z' }), by: 'A' })).toMatchObject({ kept: { version: 1, qualified: true, text: expect.stringContaining('Qualified until') as string } });
  expect(await line()).toMatchObject({ result: 'pass', text: expect.stringContaining('is qualified until') as string });
  const again = await window.get('run.open', { document: requiring, operator: 'A' });
  expect(await window.get('run.command', { id: again.id, command: { kind: 'start' }, by: 'A', commandId: 'three' })).toMatchObject({ accepted: true });
  await window.get('run.command', { id: again.id, command: { kind: 'abort' }, by: 'A', commandId: 'four' });
  await window.until('run.status', (data) => data.id === again.id && data.status.mode === 'ended');
  // A later one that fails takes the earlier one's place.
  expect(await window.get('qualification.keep', { document: sheet({ vented: { kpa: 5, source: 'by-hand' } }), by: 'B' })).toMatchObject({ kept: { version: 2, qualified: false } });
  expect(await line()).toMatchObject({ result: 'refuse', text: expect.stringContaining('pressure, vented') as string });
  const { sheets } = await window.get('qualifications.list', { bench });
  expect(sheets.map(({ version }) => version)).toEqual([2, 1]);
  const first = qualificationSchema.parse(sheets[1]?.document);
  expect(first.by).toBe('A');
  expect(Date.parse(first.doneAt)).toBeGreaterThan(Date.UTC(2020, 0, 1));
  expect(evaluateQualification(first).qualified).toBe(true);
  expect((await window.get('qualifications.list', { bench: null })).sheets).toMatchObject([{ bench, version: 2 }]);
});
