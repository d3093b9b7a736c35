import { afterEach, beforeEach, expect, test } from 'vitest';
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
