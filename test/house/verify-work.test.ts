/** ARC-52: what a check of an archive costs, counted in what it unpacks. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it, vi } from 'vitest';
import type * as TelemetryChunk from '../../main/archive/telemetry-chunk.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { makeLongArchive } from '../bench/long-archive.ts';
import { scratchFolder } from '../builders/in-process.ts';

const unpacked = vi.hoisted(() => ({ times: 0 }));
vi.mock('../../main/archive/telemetry-chunk.ts', async (importOriginal) => {
  const original = await importOriginal<typeof TelemetryChunk>();
  return {
    ...original,
    decodeFrames: (block: Uint8Array) => {
      unpacked.times += 1;
      return original.decodeFrames(block);
    },
  };
});

let folder = '';
let archive: Archive;
let attempts = 0;
beforeAll(() => {
  folder = scratchFolder();
  const path = join(folder, 'archive.sqlite');
  // Its windows do not come out: the dearest case.
  attempts = makeLongArchive(path, 1, 4);
  const opened = openArchive(path, { readOnly: true });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
});
afterAll(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

it('ARC-52 unpacks each chunk of telemetry a few times, however many windows do not come out, and says how far it is', () => {
  const chunks = attempts / 10;
  const shares: number[] = [];
  const { passed, checks } = archive.verify([], (share) => shares.push(share));
  expect(passed).toBe(false);
  expect(checks.filter((check) => !check.passed).map(({ name }) => name)).toEqual(['windows']);
  expect(unpacked.times).toBeGreaterThanOrEqual(chunks);
  expect(unpacked.times).toBeLessThan(3 * chunks);
  expect(shares.length).toBeGreaterThan(10);
  expect(shares).toEqual(shares.toSorted((a, b) => a - b));
  expect(shares.at(-1)).toBeGreaterThan(0.9);
  expect(shares.at(-1)).toBeLessThanOrEqual(1);
});

it('ARC-52 may be ended early and begun again', () => {
  const work = archive.verifying();
  work.next();
  work.return({ passed: false, checks: [], archiveId: null, head: null });
  expect(archive.verify().checks.length).toBeGreaterThan(10);
});
