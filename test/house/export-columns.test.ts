/** Every column of every file of an export: described, and held to what must stand in it (EXP-1, EXP-6). */
import { spawnSync } from 'node:child_process';
import { readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { samplePlan, scratchFolder } from '../builders/in-process.ts';
import { unfinishedColumns } from './additions.ts';
import { columnChecks, type Row } from './export-columns.ts';

const house = join(import.meta.dirname, '..', '..');
const main = join(house, 'main', 'cli', 'main.ts');
const ofEveryFile = ['run', 'order', 'run_began_utc', 'archive_head', 'not_traceable'];

/** RFC 4180. */
function records(text: string): string[][] {
  const all: string[][] = [[]];
  for (const [, quoted, plain = '', end] of text.matchAll(/(?:"((?:[^"]|"")*)"|([^",\r\n]*))(,|\r\n)/g)) {
    all.at(-1)?.push(quoted === undefined ? plain : quoted.replaceAll('""', '"'));
    if (end === '\r\n') all.push([]);
  }
  return all.slice(0, -1);
}

interface Exported {
  readonly columns: readonly string[];
  readonly rows: readonly Row[];
}

let folder = '';
const files = new Map<string, Exported>();

function cli(...args: readonly string[]): void {
  const { status, stderr } = spawnSync(process.execPath, [main, ...args, '--archive', join(folder, 'archive.sqlite')], { encoding: 'utf8' });
  if (status !== 0) throw new Error(`${args[0] ?? ''} ended with ${String(status)}: ${stderr}`);
}

// A bench that leaks, with an attempt that is rejected: a pressure that scatters while its third burst is driven.
const bench = {
  scenarioVersion: 1,
  readsInPulses: true,
  faults: [
    { begins: { atS: 0 }, fault: { kind: 'fitting-leaking', mlPerMin: 0.4 } },
    { begins: { atBurst: 6 }, forS: 3, fault: { kind: 'sensor-noisy', sensor: 'pressure', sd: 9000 } },
  ],
};

beforeAll(() => {
  folder = scratchFolder();
  const small = samplePlan('small-plan');
  const axes = { voltageV: [10, 12, 14, 16], pressureKpa: [400], widthMs: [3, 4, 5, 6, 8, 10], periodMs: [20], replicates: 2 };
  writeFileSync(join(folder, 'plan.json'), JSON.stringify({ ...small, axes, static: { ...small.static, replicates: 1 }, zero: { ...small.zero, windowS: 30 }, pair: { windows: 0 } }));
  writeFileSync(join(folder, 'scenario.json'), JSON.stringify(bench));
  cli('sweep', join(folder, 'plan.json'), '--scenario', join(folder, 'scenario.json'), '--operator', 'A. Tester', '--quiet');
  cli('export', '--to', join(folder, 'tables'));
  for (const name of readdirSync(join(folder, 'tables')).filter((one) => one.endsWith('.csv'))) {
    const [columns = [], ...rest] = records(readFileSync(join(folder, 'tables', name), 'utf8'));
    files.set(name, { columns: columns.filter((one) => !ofEveryFile.includes(one)), rows: rest.map((record) => Object.fromEntries(columns.map((column, i) => [column, record[i] ?? '']))) });
  }
}, 120_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** The columns that the README lists for each file, in its order. */
function listed(file: string): readonly string[] {
  const section = readFileSync(join(house, 'main/export/README.md'), 'utf8').split(/^## /m).find((one) => one.startsWith(`${file}\n`)) ?? '';
  return section.split('\n').filter((line) => line.startsWith('| `')).flatMap((row) => [...(row.split(' | ')[0] ?? '').matchAll(/`([^`]+)`/g)].map(([, name = '']) => name));
}

describe('EXP-1 EXP-6 the columns of an export', () => {
  it('are described and held to something, each of them', () => {
    expect(files.size).toBe(9);
    const unfinished = [...new Set([...files.keys(), ...Object.keys(columnChecks)])].flatMap((file) => unfinishedColumns({ file, columns: files.get(file)?.columns ?? [], listed: listed(file), held: Object.keys(columnChecks[file] ?? {}) }));
    expect(unfinished).toEqual([]);
  });

  it('hold what must stand in them, in every line of a run on a bench that leaks', () => {
    const wrong: string[] = [];
    for (const [file, { rows }] of files) {
      expect(rows.length, `${file} has no line to look at`).toBeGreaterThan(0);
      for (const [i, row] of rows.entries()) {
        for (const [column, check] of Object.entries(columnChecks[file] ?? {})) {
          const must = check(row, row[column] ?? '');
          if (must !== null) wrong.push(`${file}, line ${i + 1}: ${column} is "${row[column] ?? ''}" and must be ${must}`);
        }
      }
    }
    expect(wrong.slice(0, 20)).toEqual([]);
  });

  it('shares of the variance of a mass are 100 % together', () => {
    const sums = new Map<string, number>();
    for (const row of files.get('budgets.csv')?.rows ?? []) {
      const key = `${row['point'] ?? ''}:${row['attempt'] ?? ''}`;
      sums.set(key, (sums.get(key) ?? 0) + Number(row['share_of_variance_percent']));
    }
    expect(sums.size).toBeGreaterThan(50);
    expect([...sums.values()].filter((sum) => Math.abs(sum - 100) > 1e-6)).toEqual([]);
  });
});
