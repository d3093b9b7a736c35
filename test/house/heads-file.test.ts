import { appendFileSync, mkdtempSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterEach, beforeEach, describe, expect, test, vi } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { desktopSwitches, endDesktop } from '../../main/cli/window-commands.ts';
import { HeadsFile, headsFileAt, type HeadPlaces, keptHeads, makeHeadKey, publicHeadKey, readHeadKey, unfitForHeads } from '../../main/archive/heads-file.ts';
import type { Head } from '../../main/archive/ledger.ts';

let folder = '';
let file = '';
let problems: string[] = [];

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'railhouse-heads-'));
  file = join(folder, 'heads.txt');
  problems = [];
});
// SQLite's own files may still be on their way out of a folder that is being removed.
afterEach(() => rmSync(folder, { recursive: true, force: true, maxRetries: 5 }));

let at = 1_750_000_000_000;
const now = () => unixMillis((at += 1000));

function key(name = 'key.pem') {
  const made = makeHeadKey(join(folder, name));
  const read = readHeadKey(join(folder, name));
  if (!made.ok || !read.ok) throw new Error('there is no key');
  expect(read.publicKey).toBe(made.publicKey);
  const open = publicHeadKey(read.publicKey);
  if (open === null) throw new Error('the public key cannot be read');
  return { secret: read.key, open };
}

const headsFile = (more: Partial<ConstructorParameters<typeof HeadsFile>[0]> = {}) => new HeadsFile({ path: file, now, onProblem: (text) => problems.push(text), ...more });

/** A run of three points that is paused after the second, in an archive that keeps its heads; returns those it had then. */
function work(heads: HeadsFile): { readonly id: string; readonly paused: Head; readonly closed: Head; readonly archive: string } {
  const path = join(folder, 'archive.sqlite');
  const opened = openArchive(path, { now, entropy: machineEntropy, heads });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const plan = planOf('Run', 'Order 1', ['S-1']);
  const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
  if (!created.ok) throw new Error(created.text);
  archive.append(created.id, [openedBody(plan)], []);
  measure(archive, created.id, 0);
  archive.append(created.id, [{ kind: 'paused', text: 'By a person.' }], []);
  const paused = archive.head();
  measure(archive, created.id, 1);
  const closed = archive.head();
  const id = archive.archiveId();
  archive.close();
  return { id, paused, closed, archive: path };
}

function measure(archive: Archive, run: string, point: number): void {
  const frames = framesFrom(1 + 40 * point, 40);
  const done = archive.append(run, attemptBodies(point, 1, 'accepted', frames), frames);
  if (!done.ok) throw new Error(done.text);
}

test('HOST-34 the desktop is told where archive, heads and key are, as places of this folder', () => {
  expect(desktopSwitches({ archive: 'data/a.sqlite', heads: '../heads.txt', headsKey: '/keys/k.pem' })).toEqual([`--archive=${resolve('data/a.sqlite')}`, `--heads=${resolve('../heads.txt')}`, '--heads-key=/keys/k.pem']);
  expect(desktopSwitches({ archive: '/a' })).toEqual(['--archive=/a']);
});

test('CLI-32 the desktop is asked to end by a second start on Windows, where a signal would end it at once, and by a signal elsewhere', () => {
  const asked = (platform: NodeJS.Platform, interrupts: number): readonly string[] => {
    const said: string[] = [];
    endDesktop({ desktop: { kill: (signal) => said.push(String(signal)) > 0 }, interrupts, platform, startAgain: (args) => void said.push(...args) });
    return said;
  };
  expect([asked('win32', 0), asked('win32', 1), asked('linux', 0), asked('darwin', 1)]).toEqual([['--end'], ['--end'], ['SIGTERM'], []]);
});

test.each<[HeadPlaces, string]>([
  [{ headsKey: '/k' }, 'give --heads FILE too'],
  [{ heads: '/lab/archive.sqlite-wal' }, 'that belongs to the archive'],
  [{ heads: '/h.txt', headsKey: '/no/such/key' }, 'cannot be read'],
])('HOST-34 %j is refused in words before anything is opened', (places, words) => {
  expect(headsFileAt(places, '/lab/archive.sqlite', { now, onProblem: () => undefined })).toMatchObject({ ok: false, text: expect.stringContaining(words) as string });
});

describe('ARC-14 heads in a second place', () => {
  test('are kept at each rest and when the archive is closed, and lie in its history', async () => {
    const { id, paused, closed, archive } = work(headsFile());
    const keptNow = () => keptHeads(readFileSync(file, 'utf8'), id, null);
    // That of the rest is added by the way; the disk may take its time.
    await vi.waitFor(() => {
      expect(new Set(keptNow().heads.map((one) => one.head.n))).toEqual(new Set([paused.n, closed.n]));
    }, 10_000);
    const kept = keptNow();
    expect(problems).toEqual([]);
    expect(kept.problems).toEqual([]);
    const opened = openArchive(archive, { readOnly: true });
    if (!opened.ok) throw new Error(opened.text);
    expect(opened.archive.verify(kept.heads.map((one) => one.head)).passed).toBe(true);
    opened.archive.close();
  });

  test('a line that was cut off while it was written says nothing, and the next stands by itself', () => {
    const head = { n: 7, hash: 'ab'.repeat(32) };
    headsFile().finish('archive', head);
    const { size } = statSync(file);
    appendFileSync(file, readFileSync(file).subarray(0, size - 40));
    headsFile().finish('archive', { ...head, n: 8 });
    const kept = keptHeads(readFileSync(file, 'utf8'), 'archive', null);
    expect(kept).toMatchObject({ problems: [], torn: 1 });
    expect(kept.heads.map((one) => one.head.n)).toEqual([7, 8]);
  });

  test('of another archive they do not count, and a file without one of this archive is a problem', () => {
    headsFile().finish('another', { n: 7, hash: 'ab'.repeat(32) });
    expect(keptHeads(readFileSync(file, 'utf8'), 'archive', null)).toMatchObject({ heads: [], problems: ['It has no head of archive archive.'] });
  });

  test('the archive itself, what lies beside it, another database and a folder are refused', () => {
    const { archive } = work(headsFile());
    for (const path of [archive, `${archive}.lock`, `${archive}-wal`, folder]) expect(unfitForHeads(path, archive)).toMatch(/^Heads cannot be kept/u);
    expect(unfitForHeads(archive, join(folder, 'other.sqlite'))).toContain('that is a database');
    expect(unfitForHeads(file, archive)).toBeNull();
    expect(unfitForHeads(join(folder, 'new.txt'), archive)).toBeNull();
  });

  test('a disk that does not take them is told, and the archive goes on', () => {
    const { archive } = work(headsFile({ path: join(folder, 'no/such/folder/heads.txt') }));
    expect(problems.at(-1)).toMatch(/could not be kept .* The archive itself is not concerned\. Note the head by hand/u);
    const opened = openArchive(archive, { readOnly: true });
    expect(opened.ok && opened.archive.verify().passed).toBe(true);
    if (opened.ok) opened.archive.close();
  });
});

describe('ARC-15 signed heads', () => {
  test('hold under their public key and no other', () => {
    const { secret, open } = key();
    headsFile({ key: secret }).finish('archive', { n: 7, hash: 'ab'.repeat(32) });
    const text = readFileSync(file, 'utf8');
    expect(keptHeads(text, 'archive', open)).toMatchObject({ problems: [], heads: [{ head: { n: 7 } }] });
    expect(keptHeads(text, 'archive', key('other.pem').open).problems).toHaveLength(1);
  });

  test.each<[string, (text: string) => string]>([
    ['another head', (text) => text.replace('7:ab', '7:cd')],
    ['another number', (text) => text.replace('7:ab', '8:ab')],
    ['another time', (text) => text.replace(/T\d\d:/u, 'T00:')],
    ['no signature', (text) => text.replace(/ [\w-]{86}$/mu, '')],
  ])('%s is found', (_, change) => {
    const { secret, open } = key();
    at = Date.UTC(2026, 0, 1, 12);
    headsFile({ key: secret }).finish('archive', { n: 7, hash: 'ab'.repeat(32) });
    const text = readFileSync(file, 'utf8');
    expect(change(text)).not.toBe(text);
    expect(keptHeads(change(text), 'archive', open).problems).toHaveLength(1);
  });

  test('a key is readable by its owner only, and never written over', () => {
    key();
    expect(statSync(join(folder, 'key.pem')).mode & 0o077).toBe(0);
    expect(makeHeadKey(join(folder, 'key.pem'))).toMatchObject({ ok: false });
    writeFileSync(join(folder, 'no.pem'), 'not a key');
    expect(readHeadKey(join(folder, 'no.pem'))).toMatchObject({ ok: false });
    expect(publicHeadKey('not a key')).toBeNull();
  });
});
