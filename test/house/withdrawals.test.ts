import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, test } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { equipment, planOf } from '../builders/archived-run.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import type { StoredPart } from '../../main/archive/library.ts';
import { takeBackWithdrawal, withdraw, withdrawals } from '../../main/archive/withdrawals.ts';

let folder: string;
let archive: Archive;
let now: number;

function open(): Archive {
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis((now += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  return opened.archive;
}

/** Books injectors of type `Type A` in. */
function book(...parts: readonly (readonly [serialNumber: string, channel: number | null])[]): readonly StoredPart[] {
  const saved = archive.library.saveParts(parts.map(([serialNumber, channel]) => ({ order: 'O-1', type: 'Type A', serialNumber, channel, coilResistanceOhm: 14.5, condition: 'clean' })));
  if (!saved.ok) throw new Error(saved.text);
  return saved.value;
}

const idOf = (serialNumber: string): string => [...archive.library.parts(), ...archive.library.withdrawnParts()].find((part) => part.serialNumber === serialNumber)?.id ?? 'none';
const listed = (): readonly (readonly [string, number | null])[] => archive.library.parts().map(({ serialNumber, channel }) => [serialNumber, channel]);

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-withdrawals-'));
  now = Date.UTC(2026, 0, 1);
  archive = open();
});

afterEach(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

test('HOST-180 a withdrawn injector leaves the list, its channel and serial number are free, and who, when and why stay in the archive, which the ledger binds', () => {
  const [, wrong] = book(['1', 1], ['2', 2]);
  expect(withdraw(archive, idOf('2'), 'A. Tester', 'serial number mistyped')).toMatchObject({ ok: true });
  expect(listed()).toEqual([['1', 1]]);
  archive.close();
  archive = open();
  expect(listed()).toEqual([['1', 1]]);
  expect(withdrawals(archive)).toEqual([{ part: wrong, at: expect.any(Number) as number, by: 'A. Tester', reason: 'serial number mistyped' }]);
  expect(archive.library.partHistory('2')).toHaveLength(1);
  // What is withdrawn is no longer changed, nor withdrawn again.
  expect(archive.library.saveParts([{ ...wrong, id: idOf('2'), order: 'O-1', type: 'Type A', serialNumber: '2', channel: 2, coilResistanceOhm: null, condition: '' }])).toMatchObject({ ok: false, code: 'refused' });
  expect(withdraw(archive, idOf('2'), 'A. Tester', 'again')).toMatchObject({ ok: false, code: 'refused' });
  expect(book(['2', 2]).map(({ serialNumber, channel }) => [serialNumber, channel])).toEqual([['1', 1], ['2', 2]]);
  expect(archive.verify()).toMatchObject({ passed: true });
});

test('HOST-180 an injector that a run has used stays, and it is said in which run and what to do in its place; one of another type with the same serial number does not hold it', () => {
  book(['7', 1], ['71', 2]);
  const other = archive.library.saveParts([{ order: '', type: 'Type B', serialNumber: '7', channel: 3, coilResistanceOhm: null, condition: '' }]);
  expect(other.ok).toBe(true);
  const plan = planOf('Morning sweep', 'O-1', ['7']);
  const made = archive.createRun({ plan, equipment, operator: 'A', software: 'test', simulated: true });
  if (!made.ok) throw new Error(made.text);
  expect(archive.append(made.id, [{ kind: 'opened', plan, equipment, operator: 'A', software: 'test', points: 36 }], []).ok).toBe(true);
  const [used, unused, namesake] = archive.library.parts();
  expect(withdraw(archive, used?.id ?? '', 'A', 'mistyped')).toMatchObject({ ok: false, code: 'refused', text: expect.stringMatching(/Type A 7 was measured in the run of Morning sweep, job O-1.*Clear its channel.*write a note/u) as string });
  expect(withdraw(archive, unused?.id ?? '', 'A', 'mistyped')).toMatchObject({ ok: true });
  expect(withdraw(archive, namesake?.id ?? '', 'A', 'mistyped')).toMatchObject({ ok: true });
  expect(listed()).toEqual([['7', 1]]);
});

test('HOST-181 a withdrawal is taken back: as it was; without a channel that another has by now; not where it was booked in again', () => {
  book(['1', 1], ['2', 2], ['3', 3]);
  const before = archive.library.parts();
  for (const serial of ['1', '2', '3']) expect(withdraw(archive, idOf(serial), 'A', 'by mistake')).toMatchObject({ ok: true });
  expect(withdrawals(archive).map(({ part }) => part.serialNumber)).toEqual(['3', '2', '1']);
  expect(takeBackWithdrawal(archive, idOf('1'), 'B')).toMatchObject({ ok: true });
  expect(archive.library.parts()).toEqual([before[0]]);
  book(['9', 2]);
  expect(takeBackWithdrawal(archive, idOf('2'), 'B')).toMatchObject({ ok: true, value: { channel: null } });
  expect(listed()).toEqual([['1', 1], ['2', null], ['9', 2]]);
  const third = idOf('3');
  book(['3', 4]);
  expect(takeBackWithdrawal(archive, third, 'B')).toMatchObject({ ok: false, code: 'refused', text: expect.stringContaining('booked in again') as string });
  expect(takeBackWithdrawal(archive, 'none', 'B')).toMatchObject({ ok: false, code: 'refused' });
  expect(listed()).toEqual([['1', 1], ['2', null], ['9', 2], ['3', 4]]);
  expect(archive.verify()).toMatchObject({ passed: true });
});
