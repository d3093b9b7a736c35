import { readFileSync } from 'node:fs';
import { mkdir, mkdtemp, readdir, readFile, rename, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { expandPlan } from '../../app/plan/expand.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import type { ErrorSource } from '../../app/uncertainty/source.ts';
import { drawErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.test-helper.ts';
import { csvFiles } from './csv.ts';
import type { CsvExport, ExportedAttempt } from './csv.ts';
import { realDisk, writeSet, type ExportDisk, type FileToWrite, type WriteResult } from './files.ts';
import { jsonFile } from './json.ts';

let directory = '';

/** The columns that README.md lists for each file, in its order. */
function listedColumns(): ReadonlyMap<string, readonly string[]> {
  const text = readFileSync(join(import.meta.dirname, 'README.md'), 'utf8');
  const sections = text.split(/^## /m).filter((section) => /^\S+\.csv\n/.test(section));
  return new Map(sections.map((section) => {
    const rows = section.split('\n').filter((line) => line.startsWith('| `'));
    return [section.split('\n')[0] ?? '', rows.flatMap((row) => [...(row.split(' | ')[0] ?? '').matchAll(/`([^`]+)`/g)].map(([, name = '']) => name))] as const;
  }));
}

const ofEveryFile = ['run', 'order', 'run_began_utc', 'archive_head', 'not_traceable'];
const provenance = { runId: 'r-1', order: 'Order 1', began: unixMillis(1_770_000_000_000), archiveId: 'a-1', head: '7:ab' };
const write = (to: string, files: readonly FileToWrite[], disk?: ExportDisk): Promise<WriteResult> =>
  writeSet(to, { files, closing: (written) => ({ name: 'manifest.json', pieces: [JSON.stringify(written)] }) }, disk);
const exportCsv = (to: string, data: CsvExport, disk?: ExportDisk): Promise<WriteResult> => write(to, csvFiles(data), disk);

beforeEach(async () => {
  directory = await mkdtemp(join(tmpdir(), 'export-'));
});
afterEach(() => rm(directory, { recursive: true, force: true }));

/** A run in which point 3 was measured twice and the last injector not at all. */
function run(): CsvExport {
  const plain = syntheticPlan({ voltageV: [9, 14], replicates: 2 }, 2);
  const [first, second] = plain.injectors;
  if (first === undefined || second === undefined) throw new Error('two injectors');
  const plan = { ...plain, injectors: [{ ...first, serialNumber: 'A "7", left' }, second] };
  const points = expandPlan(plan);
  const normal = normalFrom(1);
  const errors = drawErrors(syntheticEquipment, normal);
  const attempts: ExportedAttempt[] = [];
  for (const point of points) {
    if (point.injector === 1) continue;
    const window = syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, errors, { relative: 1e-3, width: 5e-7, voltage: 0.01, pressure: 500, warmer: 1 }, normal);
    const made = (attempt: number, counts: boolean): ExportedAttempt => ({
      point: point.index,
      attempt,
      at: unixMillis(1_770_000_000_000 + 1000 * point.index),
      verdict: counts ? 'accepted' : 'rejected',
      counts,
      body: { window, criteria: [{ rule: 'RUN-61', passed: counts, text: 'pressure 404.2 kPa, allowed 396 to 404 kPa' }], text: counts ? 'all limits kept' : 'pressure out of its limits,\nmeasured again' },
    });
    if (point.index === 3) attempts.push(made(1, false), made(2, true));
    else attempts.push(made(1, true));
  }
  const counting = attempts.flatMap((a) => (a.counts && a.body.window !== null ? [{ point: a.point, attempt: a.attempt, window: a.body.window }] : []));
  return { provenance, notTraceable: [], plan, equipment: syntheticEquipment, points, attempts, reduction: reduceRun({ plan, equipment: syntheticEquipment, points, attempts: counting }) };
}

/** RFC 4180, written for this test. */
function parseCsv(text: string): string[][] {
  const records: string[][] = [[]];
  const fields = text.matchAll(/(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n)/g);
  for (const [, quoted, plain, end] of fields) {
    records.at(-1)?.push(quoted === undefined ? (plain ?? '') : quoted.replaceAll('""', '"'));
    if (end === '\r\n') records.push([]);
  }
  return records.slice(0, -1);
}

async function read(name: string): Promise<readonly Record<string, string>[]> {
  const [header, ...records] = parseCsv(await readFile(join(directory, name), 'utf8'));
  if (header === undefined) throw new Error('no header');
  for (const record of records) expect(record).toHaveLength(header.length);
  return records.map((record) => Object.fromEntries(header.map((h, i) => [h, record[i] ?? ''])));
}

describe('columns', () => {
  it('EXP-1 EXP-2 are those that README.md lists, in its order, and what the file belongs to', async () => {
    await exportCsv(join(directory, 'x'), run());
    const listed = listedColumns();
    const names = (await readdir(join(directory, 'x'))).filter((name) => name.endsWith('.csv'));
    expect([...listed.keys()].toSorted()).toEqual(names.toSorted());
    for (const name of names) {
      const [header = ''] = (await readFile(join(directory, 'x', name), 'utf8')).split('\r\n');
      expect(header.split(','), `the columns of ${name} and those that main/export/README.md lists for it`).toEqual([...(listed.get(name) ?? []), ...ofEveryFile]);
    }
  });
});

describe('CSV', () => {
  it('lists the files that it wrote, and no others are left', async () => {
    const written = await exportCsv(directory, run());
    const names = ['attempts.csv', 'masses.csv', 'budgets.csv', 'lines.csv', 'leak.csv', 'static-flow.csv', 'tables.csv', 'maps.csv', 'curves.csv', 'manifest.json'];
    expect(written).toEqual({ kind: 'written', files: names.map((n) => join(directory, n)), note: null });
    expect((await readdir(directory)).sort()).toEqual([...names].sort());
  });

  it('guards what a spreadsheet would compute with an apostrophe, and leaves numbers as they are', async () => {
    const plain = run();
    for (const serialNumber of ['=HYPERLINK("http://x")', '@SUM(A1)', '-2+3+cmd', '+1']) {
      const injectors = plain.plan.injectors.map((injector, i) => (i === 0 ? { ...injector, serialNumber } : injector));
      await exportCsv(directory, { ...plain, plan: { ...plain.plan, injectors } });
      for (const name of ['attempts.csv', 'masses.csv', 'budgets.csv', 'tables.csv']) {
        const [, ...records] = parseCsv(await readFile(join(directory, name), 'utf8'));
        const fields = records.flat();
        if (name === 'attempts.csv') expect(fields).toContain(`'${serialNumber}`);
        expect(fields.filter((field) => /^[=+@-]/.test(field) && !Number.isFinite(Number(field)))).toEqual([]);
      }
    }
    const [, ...records] = parseCsv(await readFile(join(directory, 'budgets.csv'), 'utf8'));
    expect(records.flat().some((field) => field.startsWith('-') && Number(field) < 0)).toBe(true);
  });

  it('keeps every attempt, rejected ones too, with its verdict and whether it counts', async () => {
    const data = run();
    await exportCsv(directory, data);
    const attempts = await read('attempts.csv');
    expect(attempts).toHaveLength([...(data.attempts as ExportedAttempt[])].length);
    // RUN-154: counted from 1, so the point of index 3 is point 4.
    expect(attempts[0]?.['point']).toBe('1');
    const ofPoint3 = attempts.filter((a) => a['point'] === '4');
    expect(ofPoint3.map((a) => [a['attempt'], a['verdict'], a['counts']])).toEqual([
      ['1', 'rejected', 'false'],
      ['2', 'accepted', 'true'],
    ]);
    expect(ofPoint3[0]?.['failed_criteria']).toBe('RUN-61: pressure 404.2 kPa, allowed 396 to 404 kPa');
    expect(ofPoint3[0]?.['text']).toBe('pressure out of its limits,\nmeasured again');
    expect(ofPoint3[0]?.['injector_serial']).toBe('A "7", left');
    expect(ofPoint3[0]?.['ended_at_utc']).toBe('2026-02-02T02:40:03.000Z');
  });

  it('gives the numbers of the reduction in the units of the header, with a decimal point', async () => {
    const data = run();
    await exportCsv(directory, data);
    const masses = await read('masses.csv');
    expect(masses).toHaveLength(data.reduction.windows.length);
    data.reduction.windows.forEach(({ outcome, at }, i) => {
      if (outcome.kind !== 'mass') throw new Error(outcome.text);
      expect(Number(masses[i]?.['Qd_mg'])).toBeCloseTo(outcome.mass * 1e6, 9);
      expect(Number(masses[i]?.['PW_ms'])).toBeCloseTo(at.width * 1e3, 9);
    });
    const lines = await read('lines.csv');
    data.reduction.cells.forEach((cell, i) => {
      const row = lines[i];
      if (cell.kind === 'line') {
        expect(Number(row?.['X_ms'])).toBeCloseTo(cell.deadTime.value * 1e3, 9);
        expect(Number(row?.['X_U95_ms'])).toBeCloseTo(cell.deadTime.expanded * 1e3, 9);
        expect(Number(row?.['m_mg_per_ms'])).toBeCloseTo(cell.slope.value * 1e3, 9);
        expect(row?.['sources_point_attempt']?.split(' ')).toHaveLength(cell.sources.length);
      } else {
        expect(row?.['X_ms']).toBe('');
        expect(row?.['missing_because']).toBe('not-measured');
      }
    });
    expect(lines.find((l) => l['sources_point_attempt']?.split(' ').includes('4:2'))).toBeDefined();
    expect(lines.find((l) => l['sources_point_attempt']?.split(' ').includes('4:1'))).toBeUndefined();
    for (const name of ['masses.csv', 'budgets.csv', 'lines.csv', 'static-flow.csv', 'tables.csv', 'maps.csv', 'curves.csv']) {
      expect(await readFile(join(directory, name), 'utf8')).not.toMatch(/NaN|Infinity|undefined|null/);
    }
  });

  it('RED-21, RED-22: has no set mean where a member is missing, and says so', async () => {
    await exportCsv(directory, run());
    const mean = (await read('tables.csv')).filter((r) => r['column'] === 'Set mean');
    expect(mean).toHaveLength(4);
    for (const row of mean) expect([row['value'], row['missing_because']]).toEqual(['', 'member-missing']);
  });
});

describe('JSON', () => {
  it('holds the whole reduction, and null only for infinitely many degrees of freedom', async () => {
    const { plan, reduction } = run();
    const written = await write(directory, [jsonFile({ provenance, software: 'railhouse 0.1.0', notTraceable: [], clocks: [], plan, equipment: syntheticEquipment, reduction })]);
    expect(written).toEqual({ kind: 'written', files: [join(directory, 'reduction.json'), join(directory, 'manifest.json')], note: null });
    const file = JSON.parse(await readFile(join(directory, 'reduction.json'), 'utf8')) as Record<string, unknown>;
    expect(file['reductionFileVersion']).toBe(2);
    expect(file['plan']).toEqual(plan);
    expect(file['equipment']).toEqual(syntheticEquipment);
    // RUN-154: points and replicates are counted from 1 in every file.
    const counted = new Set(['point', 'index', 'replicate']);
    // RED-64: a source of error is written as its name, so that files keep their form.
    const named = { ...reduction, windows: reduction.windows.map((w) => (w.outcome.kind === 'mass' ? { ...w, outcome: { ...w.outcome, uRandom: w.outcome.uRandom, uShared: w.outcome.uShared, budget: w.outcome.budget.map(({ source, ...term }) => ({ name: labelOf(source), ...term })) } } : w)) };
    const finite = JSON.parse(JSON.stringify(named), (key, value: unknown) => {
      if (/source$/i.test(key) && typeof value === 'object') return labelOf(value as ErrorSource);
      return counted.has(key) && typeof value === 'number' ? value + 1 : value;
    }) as Record<string, unknown>;
    expect(JSON.stringify(finite['cells'])).toContain('"source":"supply read-back"');
    expect((file['windows'] as readonly { point: number; at: { index: number } }[]).map(({ point, at }) => [point, at.index])).toEqual(reduction.windows.map(({ point }) => [point + 1, point + 1]));
    for (const part of ['windows', 'cells', 'scatter', 'slopeModels', 'staticFlows']) expect(file[part]).toEqual(finite[part]);
    expect(file['drift']).toMatchObject({ kind: 'no-drift' });
    expect((file['maps'] as readonly unknown[]).length).toBeGreaterThan(4);
    expect(file['tables']).toHaveLength(2);
  });
});

describe('ARC-17 provenance', () => {
  it('every row of every CSV file names run, order, when it began and the head of the archive', async () => {
    const written = await exportCsv(directory, run());
    if (written.kind === 'failed') throw new Error(written.text);
    let rows = 0;
    for (const name of ['attempts.csv', 'masses.csv', 'budgets.csv', 'lines.csv', 'static-flow.csv', 'tables.csv', 'maps.csv', 'curves.csv']) {
      for (const row of await read(name)) {
        expect(row).toMatchObject({ run: 'r-1', order: 'Order 1', run_began_utc: '2026-02-02T02:40:00.000Z', archive_head: '7:ab' });
        rows += 1;
      }
    }
    expect(rows).toBeGreaterThan(50);
  });
});

describe('ARC-18 one step from one set to the next', () => {
  const set = (mark: string): FileToWrite[] => ['attempts.csv', 'masses.csv', 'reduction.json'].map((name) => ({ name, pieces: [`${mark} ${name}`] }));

  /** What lies in a folder, by the mark of each file; null: there is no folder. */
  async function marks(folder: string): Promise<string | null> {
    const names = await realDisk.list(folder);
    if (names === null) return null;
    const files = await Promise.all(names.filter((name) => name !== 'manifest.json').map((name) => readFile(join(folder, name), 'utf8')));
    return [...new Set(files.map((text) => text.split(' ')[0]))].join('+') + (names.includes('manifest.json') ? ` ${files.length}` : ' without manifest');
  }

  /** A process that dies before its n-th call of the file system: that call and all after it are never made. */
  function dying(calls: number): ExportDisk {
    const living = <A extends unknown[], T>(work: (...args: A) => Promise<T>) => (...args: A): Promise<T> => {
      calls -= 1;
      return calls < 0 ? Promise.reject(new Error('died')) : work(...args);
    };
    return {
      ...realDisk,
      mkdir: living(realDisk.mkdir), list: living(realDisk.list), rename: living(realDisk.rename), unlink: living(realDisk.unlink), rmdir: living(realDisk.rmdir), sync: living(realDisk.sync),
      create: living(async (path: string) => {
        const file = await realDisk.create(path);
        return { write: living(file.write), finish: living(file.finish), abandon: file.abandon };
      }),
    };
  }

  it('whenever the process dies, there is one whole set, and the next export leaves nothing else', async () => {
    const to = join(directory, 'tables');
    const seen = new Set<string>();
    for (let calls = 0; ; calls += 1) {
      await rm(directory, { recursive: true, force: true });
      await mkdir(directory);
      await write(to, set('old'));
      const done = await write(to, set('new'), dying(calls)).catch(() => null);
      const there = await marks(to);
      const state = there ?? `between: ${await marks(`${to}.export-before`)}`;
      seen.add(state);
      expect(['old 3', 'new 3', 'between: old 3']).toContain(state);
      // The next export, whatever it found.
      expect((await write(to, set('third'))).kind).toBe('written');
      expect(await marks(to)).toBe('third 3');
      expect(await readdir(directory)).toEqual(['tables']);
      if (done?.kind === 'written') break;
    }
    expect(seen).toEqual(new Set(['old 3', 'new 3', 'between: old 3']));
  });

  it('an export that failed between the two names is put back by the next one, also if that fails', async () => {
    const to = join(directory, 'tables');
    await write(to, set('old'));
    await rename(to, `${to}.export-before`);
    const full: ExportDisk = { ...realDisk, create: () => Promise.reject(Object.assign(new Error('no space left on device'), { code: 'ENOSPC' })) };
    expect(await write(to, set('new'), full)).toMatchObject({ kind: 'failed', reason: 'disk-full' });
    expect(await marks(to)).toBe('old 3');
  });

  it('files that an earlier version left half written are gone, and a folder with anything else is refused and left as it is', async () => {
    const to = join(directory, 'tables');
    await write(to, set('old'));
    await writeFile(join(to, 'masses.csv.part'), 'half');
    expect((await write(to, set('new'))).kind).toBe('written');
    expect((await readdir(to)).sort()).toEqual(['attempts.csv', 'manifest.json', 'masses.csv', 'reduction.json']);
    await writeFile(join(to, 'notes.txt'), 'mine');
    const refused = await write(to, set('third'));
    expect(refused).toMatchObject({ kind: 'failed', reason: 'foreign' });
    expect(refused.kind === 'failed' ? refused.text : '').toMatch(/holds something else \(notes\.txt\).*Nothing was written and nothing removed\. Choose a new or empty folder/);
    expect(await readFile(join(to, 'notes.txt'), 'utf8')).toBe('mine');
    expect(await readFile(join(to, 'masses.csv'), 'utf8')).toBe('new masses.csv');
    expect(await readdir(directory)).toEqual(['tables']);
  });
});

describe('failures', () => {
  const fullAfter = (characters: number): ExportDisk => ({
    ...realDisk,
    create: async (path) => {
      const file = await realDisk.create(path);
      return {
        ...file,
        write: async (text) => {
          characters -= text.length;
          if (characters < 0) throw Object.assign(new Error('no space left on device'), { code: 'ENOSPC' });
          await file.write(text);
        },
      };
    },
  });

  const failed = (result: WriteResult): Extract<WriteResult, { kind: 'failed' }> => {
    if (result.kind !== 'failed') throw new Error('should have failed');
    return result;
  };

  it('answers a full disk in words, keeps the earlier export and leaves no half file', async () => {
    await exportCsv(directory, run());
    const before = await readFile(join(directory, 'attempts.csv'), 'utf8');
    const again = failed(await exportCsv(directory, run(), fullAfter(before.length + 100)));
    expect(again.reason).toBe('disk-full');
    expect(again.text).toMatch(/is full.*not touched.*export again/);
    expect(await readFile(join(directory, 'attempts.csv'), 'utf8')).toBe(before);
    expect((await readdir(directory)).filter((n) => n.endsWith('.part'))).toEqual([]);
  });

  it('answers a directory that cannot be made or written', async () => {
    await writeFile(join(directory, 'file'), '');
    const inFile = failed(await exportCsv(join(directory, 'file', 'sub'), run()));
    expect(inFile.reason).toBe('unwritable');
    expect(inFile.text).toContain(join(directory, 'file', 'sub'));
    const denied: ExportDisk = { ...realDisk, create: () => Promise.reject(Object.assign(new Error('permission denied'), { code: 'EACCES' })) };
    expect(failed(await exportCsv(join(directory, 'sub'), run(), denied)).reason).toBe('unwritable');
    const broken: ExportDisk = { ...realDisk, rename: () => Promise.reject(Object.assign(new Error('i/o error'), { code: 'EIO' })) };
    expect(failed(await exportCsv(join(directory, 'sub'), run(), broken)).reason).toBe('other');
    expect(await readdir(directory)).toEqual(['file']);
  });

  it('does not take an error of the data for one of the disk', async () => {
    const pieces = function* (): Generator<string> {
      yield 'a';
      throw new Error('the archive is damaged');
    };
    await expect(write(directory, [{ name: 'x.csv', pieces: pieces() }])).rejects.toThrow('the archive is damaged');
    expect(await readdir(directory)).toEqual([]);
  });
});
