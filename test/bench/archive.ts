/** What durability costs: one commit for each measured point over a long run, and the list of many runs. */
import { closeSync, fdatasyncSync, mkdirSync, mkdtempSync, openSync, rmSync, statSync, writeSync } from 'node:fs';
import { join } from 'node:path';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { openArchive } from '../../main/archive/archive.ts';
import type { Archive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';

const points = 100_000;
const runs = 10_000;
/** A window of two seconds at 20 Hz. */
const framesPerPoint = 40;

interface Figure {
  readonly label: string;
  readonly value: number;
  readonly unit: string;
}

/** Quantile by the nearest rank. */
const quantile = (sorted: readonly number[], q: number): number => sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))] ?? Number.NaN;

function open(path: string): Archive {
  let at = 1_750_000_000_000;
  const result = openArchive(path, { now: () => unixMillis((at += 1000)), entropy: machineEntropy });
  if (!result.ok) throw new Error(result.text);
  return result.archive;
}

function newRun(archive: Archive, name: string, serialNumbers: readonly string[], replicates: number): string {
  const plan = planOf(name, `Order ${name}`, serialNumbers, replicates);
  const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'bench 1', simulated: true });
  if (!created.ok) throw new Error(created.text);
  const opened = archive.append(created.id, [openedBody(plan)], []);
  if (!opened.ok) throw new Error(opened.text);
  return created.id;
}

function commits(folder: string): Figure[] {
  const path = join(folder, 'points.sqlite');
  const archive = open(path);
  const run = newRun(archive, 'long', Array.from({ length: 10 }, (_, i) => `S-${i}`), 1000);
  const took: number[] = [];
  // Beside it, what the disk itself takes at the same time for one write of about the size of such a commit.
  const bare: number[] = [];
  const bareFile = openSync(join(folder, 'bare'), 'w');
  const bareBytes = Buffer.alloc(32 * 1024);
  for (let point = 0; point < points; point += 1) {
    const frames = framesFrom(1 + point * framesPerPoint, framesPerPoint);
    const bodies = attemptBodies(point, 1, 'accepted', frames);
    const begin = performance.now();
    const result = archive.append(run, bodies, frames);
    took.push(performance.now() - begin);
    if (!result.ok) throw new Error(result.text);
    if (point % 50 === 0) {
      const bareBegin = performance.now();
      writeSync(bareFile, bareBytes);
      fdatasyncSync(bareFile);
      bare.push(performance.now() - bareBegin);
    }
  }
  closeSync(bareFile);
  const tenth = points / 10;
  const figures = [
    ['first tenth', took.slice(0, tenth)] as const,
    ['last tenth', took.slice(-tenth)] as const,
    ['all', took] as const,
  ].flatMap(([part, times]): Figure[] => {
    const sorted = times.toSorted((a, b) => a - b);
    return [
      { label: `durable commit per point, median, ${part}`, value: quantile(sorted, 0.5), unit: 'ms' },
      { label: `durable commit per point, 99 %, ${part}`, value: quantile(sorted, 0.99), unit: 'ms' },
      { label: `durable commit per point, worst, ${part}`, value: sorted.at(-1) ?? Number.NaN, unit: 'ms' },
    ];
  });
  archive.close();
  bare.sort((a, b) => a - b);
  figures.push({ label: 'bare durable write of 32 KiB at the same time, median', value: quantile(bare, 0.5), unit: 'ms' });
  figures.push({ label: 'bare durable write of 32 KiB at the same time, 99 %', value: quantile(bare, 0.99), unit: 'ms' });
  figures.push({ label: `archive, each of ${points} points`, value: statSync(path).size / points, unit: 'byte' });
  const begin = performance.now();
  const verified = openArchive(path, { readOnly: true });
  if (!verified.ok) throw new Error(verified.text);
  figures.push({ label: 'open', value: performance.now() - begin, unit: 'ms' });
  const verification = verified.archive.verify();
  if (!verification.passed) throw new Error(verification.checks.map((check) => check.text).join('\n'));
  figures.push({ label: 'verify', value: (performance.now() - begin) / 1e3, unit: 's' });
  verified.archive.close();
  return figures;
}

function listing(folder: string): Figure[] {
  const archive = open(join(folder, 'runs.sqlite'));
  for (let i = 0; i < runs; i += 1) newRun(archive, `R${i}`, [`S-${i}`, `S-${i}b`], 3);
  const time = (label: string, list: () => unknown[], expected: number): Figure => {
    const took = Array.from({ length: 50 }, () => {
      const begin = performance.now();
      if (list().length !== expected) throw new Error(`${label}: wrong number of runs`);
      return performance.now() - begin;
    }).toSorted((a, b) => a - b);
    return { label, value: quantile(took, 0.5), unit: 'ms' };
  };
  const middle = archive.runs({ limit: runs / 2 }).at(-1);
  if (middle === undefined) throw new Error('no runs');
  const figures = [
    time(`first page of 50 out of ${runs} runs`, () => archive.runs({ limit: 50 }), 50),
    time('page of 50 from the middle', () => archive.runs({ limit: 50, after: middle }), 50),
    time('search by a serial number that the oldest run has', () => archive.runs({ limit: 50, text: 's-0b' }), 1),
  ];
  archive.close();
  return figures;
}

export function bench(): Promise<{ readonly name: string; readonly figures: readonly Figure[] }> {
  // Inside the house: the system's folder for temporary files may be in memory, where nothing is durable.
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  const folder = mkdtempSync(join(out, 'archive-bench-'));
  try {
    return Promise.resolve({ name: 'Archive', figures: [...commits(folder), ...listing(folder)] });
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
