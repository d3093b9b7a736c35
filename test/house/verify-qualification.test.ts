import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { SheetInForce } from '../../app/plan/preflight-line.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { TestRun } from '../../app/run/scripted-bench.test-helper.ts';
import { equipment, openedBody, planOf } from '../builders/archived-run.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { sha256 } from '../../main/archive/chain.ts';

let folder: string;
let archive: Archive;

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-named-'));
  let now = Date.UTC(2026, 0, 1);
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis((now += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
  for (const line of ['first', 'second']) expect(archive.records.save({ kind: 'qualification', name: 'bench B-7', by: 'A', document: { line } }).ok).toBe(true);
  expect(archive.records.save({ kind: 'qualification', name: 'bench B-8', by: 'A', document: { line: 'first' } }).ok).toBe(true);
});

afterEach(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

const sheet = (bench: string, version: number, line: string): SheetInForce => ({ bench, version, sha256: sha256(JSON.stringify({ line })), until: Date.UTC(2026, 0, 2) });
const connected: RunEventBody = { kind: 'bench-connected', identity: { model: 'bench', serialNumber: 'B-7', firmware: '1', protocol: 1 }, capabilities: new TestRun().bench.capabilities, bootId: 'b1', link: 'test' };

/** A run on bench B-7 that names a sheet; absent: none. */
function found(qualification?: SheetInForce): { readonly passed: boolean; readonly text: string } | undefined {
  const plan = planOf('Run', 'O-1', ['S-1']);
  const made = archive.createRun({ plan, equipment, operator: 'A', software: 'test', simulated: true });
  if (!made.ok) throw new Error(made.text);
  const bodies: RunEventBody[] = [openedBody(plan), connected, { kind: 'preflight', lines: [], ...(qualification === undefined ? {} : { qualification }) }];
  expect(archive.append(made.id, bodies, []).ok).toBe(true);
  const { checks } = archive.verify();
  expect(checks.find(({ name }) => name === 'journals')).toMatchObject({ passed: true });
  return checks.find(({ name }) => name === 'qualifications');
}

test('HOST-182 a sheet that a run names is the one that lies in the archive, of its bench; a run that names none promises none', () => {
  expect(found()).toMatchObject({ passed: true, text: 'No run names a qualification of its bench.' });
  expect(found(sheet('bench B-7', 1, 'first'))).toMatchObject({ passed: true, text: expect.stringContaining('Each of 1 qualifications') as string });
  expect(found(sheet('bench B-7', 2, 'second'))).toMatchObject({ passed: true });
});

test.each([
  ['is missing', sheet('bench B-7', 3, 'third'), /names sheet 3 of bench B-7, which the archive does not hold/u],
  ['was changed', sheet('bench B-7', 2, 'as it was'), /names sheet 2 of bench B-7, and what lies in the archive is not what it was/u],
  ['is of another bench', sheet('bench B-8', 1, 'first'), /which is of another bench: the run was measured with bench B-7/u],
] as const)('HOST-182 a sheet that %s is said', (_, named, text) => {
  const check = found(named);
  expect(check?.passed).toBe(false);
  expect(JSON.stringify(check)).toMatch(text);
});
