/** Exports of a real archive, held against their manifest. */
import { appendFileSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, test } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { parseHead } from '../../main/archive/ledger.ts';
import { exportRun } from '../../main/export/export-run.ts';
import { checkExport } from '../../main/export/manifest.ts';
import { loadRun } from '../../main/service/run-service.ts';
import { makeLabArchive } from '../builders/lab-archive.ts';

let folder = '';
let tables = '';

beforeEach(async () => {
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  folder = mkdtempSync(join(out, 'export-'));
  tables = join(folder, 'tables');
  await makeLabArchive(join(folder, 'archive.sqlite'));
}, 60_000);
afterEach(() => rmSync(folder, { recursive: true, force: true }));

async function exported(): Promise<string> {
  const opened = openArchive(join(folder, 'archive.sqlite'), { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  // Not the latest: others came after it, and its place is earlier.
  const run = [...archive.everyRun()].at(-1)?.id ?? '';
  const loaded = loadRun(archive, run);
  if (!loaded.ok) throw new Error(loaded.text);
  const written = await exportRun(tables, { archive, runId: run, state: loaded.state, software: 'test' });
  if (written.kind === 'failed') throw new Error(written.text);
  archive.close();
  return run;
}

describe('ARC-19 an export proves what it is', () => {
  test('its files, its run and its place in the archive, without the archive', async () => {
    const runId = await exported();
    const checked = await checkExport(tables);
    expect(checked).toMatchObject({ whole: true, runId, files: 10 });
    const opened = openArchive(join(folder, 'archive.sqlite'), { readOnly: true });
    if (!opened.ok || !checked.whole) throw new Error('should be whole');
    const head = parseHead(checked.archiveHead);
    expect(opened.archive.archiveId()).toBe(checked.archiveId);
    expect(opened.archive.verify(head === null ? [] : [head]).passed).toBe(true);
    opened.archive.close();
    // The JSON names the same.
    expect(JSON.parse(readFileSync(join(tables, 'reduction.json'), 'utf8'))).toMatchObject({ runId, archiveId: checked.archiveId, archiveHead: checked.archiveHead });
  });

  test('a file that was changed, is missing, or does not belong to it is named', async () => {
    await exported();
    for (const name of readdirSync(tables).filter((one) => one !== 'manifest.json')) {
      const before = readFileSync(join(tables, name));
      appendFileSync(join(tables, name), ' ');
      expect(await checkExport(tables)).toEqual({ whole: false, problems: [`${name} is not what was exported.`] });
      rmSync(join(tables, name));
      expect(await checkExport(tables)).toEqual({ whole: false, problems: [`${name} is missing or cannot be read.`] });
      writeFileSync(join(tables, name), before);
    }
    writeFileSync(join(tables, 'more.csv'), '');
    expect(await checkExport(tables)).toEqual({ whole: false, problems: ['more.csv does not belong to this export.'] });
  });

  test('a manifest that names another run or head does not hold', async () => {
    await exported();
    const path = join(tables, 'manifest.json');
    const text = readFileSync(path, 'utf8');
    const manifest = JSON.parse(text) as { runId: string; archiveHead: string; place: { text: string } };
    for (const change of [
      { ...manifest, runId: '019b0000-0000-7000-8000-00000000beef' },
      { ...manifest, archiveHead: `${manifest.archiveHead.split(':')[0]}:${'0'.repeat(64)}` },
      { ...manifest, place: { ...manifest.place, text: manifest.place.text.replace('"events"', '"event"') } },
      { ...manifest, place: null },
    ]) {
      writeFileSync(path, JSON.stringify(change));
      expect(await checkExport(tables)).toMatchObject({ whole: false });
    }
    writeFileSync(path, 'not JSON');
    expect(await checkExport(tables)).toMatchObject({ whole: false });
  });
});
