import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { headText, type Head } from '../../main/archive/ledger.ts';
import { checkProof, continuation, placeOfRun } from '../../main/archive/proof.ts';

let folder = '';
let archive: Archive;
/** After each commit. */
const heads: Head[] = [];
const runs: string[] = [];

function measure(run: string, point: number): void {
  const frames = framesFrom(1 + 40 * point, 40);
  const done = archive.append(run, attemptBodies(point, 1, 'accepted', frames), frames);
  if (!done.ok) throw new Error(done.text);
  heads.push(archive.head());
}

beforeAll(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-proof-'));
  let at = 1_750_000_000_000;
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis((at += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
  const plan = planOf('Run', 'Order 1', ['S-1']);
  for (let i = 0; i < 2; i += 1) {
    const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
    if (!created.ok) throw new Error(created.text);
    runs.push(created.id);
    archive.append(created.id, [openedBody(plan)], []);
    for (let point = 0; point < 20; point += 1) measure(created.id, point);
  }
});

afterAll(() => {
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

const lastHash = (run: string): string => {
  const stored = archive.run(run);
  return stored === null ? '' : ([...archive.eventRows(stored)].at(-1)?.hash.toString('hex') ?? '');
};

describe('ARC-12 the place of a run', () => {
  test.each([0, 1])('run %i of two lies at its place under the present head, with its whole journal, in a few hundred bytes', (i) => {
    const run = runs[i] ?? '';
    const proof = placeOfRun(archive.ledger, run, archive.head());
    const checked = checkProof(JSON.parse(JSON.stringify(proof)));
    expect(checked).toMatchObject({ holds: true, head: archive.head(), entry: { kind: 'events', run, head: lastHash(run) } });
    // The text of the entry is a few hundred bytes by itself.
    expect(JSON.stringify(proof).length).toBeLessThan(1500);
  });

  test('under a head that was kept earlier', () => {
    const early = heads[4] ?? archive.head();
    expect(checkProof(placeOfRun(archive.ledger, runs[0] ?? '', early))).toMatchObject({ holds: true, head: early });
    // The second run came later.
    expect(placeOfRun(archive.ledger, runs[1] ?? '', early)).toBeNull();
    // A head that this archive never had is not taken over.
    expect(placeOfRun(archive.ledger, runs[0] ?? '', { ...early, hash: '0'.repeat(64) })?.head).toBe(headText(early));
  });

  test('whatever is changed in it, it does not hold', () => {
    const proof = placeOfRun(archive.ledger, runs[0] ?? '', archive.head());
    if (proof === null) throw new Error('there is no proof');
    const head = archive.head();
    const changed = [
      { ...proof, text: proof.text.replace(/"events":\d+/u, '"events":7') },
      { ...proof, n: proof.n + 1 },
      { ...proof, previous: '0'.repeat(64) },
      // Of a head with this root but another number nothing can be said; nobody has kept one.
      { ...proof, head: headText({ ...head, hash: '0'.repeat(64) }) },
      { ...proof, path: proof.path.slice(1) },
      { ...proof, path: [...proof.path, '0'.repeat(64)] },
      { ...proof, path: proof.path.toReversed() },
      { ...proof, proofVersion: 2 },
      { ...proof, more: true },
      null,
    ];
    for (const document of changed) expect(checkProof(document)).toMatchObject({ holds: false });
  });
});

describe('ARC-13 one history', () => {
  test('every head goes on from every earlier one, and from no other', () => {
    for (const [i, later] of heads.entries()) {
      for (const earlier of heads.slice(0, i + 1)) {
        expect(checkProof(continuation(archive.ledger, earlier, later))).toMatchObject({ holds: true, head: later });
        expect(continuation(archive.ledger, { ...earlier, hash: '0'.repeat(64) }, later)).toBeNull();
        if (earlier.n < later.n) expect(continuation(archive.ledger, later, earlier)).toBeNull();
      }
    }
  });

  test('a changed one does not hold', () => {
    const [earlier, later] = [heads[4], heads[30]];
    if (earlier === undefined || later === undefined) throw new Error('there are no heads');
    const proof = continuation(archive.ledger, earlier, later);
    if (proof?.kind !== 'continuation') throw new Error('there is no proof');
    for (const document of [{ ...proof, earlier: headText({ ...earlier, hash: '0'.repeat(64) }) }, { ...proof, earlier: headText({ ...earlier, n: earlier.n + 1 }) }, { ...proof, path: proof.path.slice(1) }]) {
      expect(checkProof(document)).toMatchObject({ holds: false });
    }
  });
});
