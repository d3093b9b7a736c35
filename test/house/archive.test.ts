/** The archive as a file on a disk: other processes, deaths, full disks, old and foreign files. */
import { spawn, spawnSync } from 'node:child_process';
import type { ChildProcess } from 'node:child_process';
import { createHash } from 'node:crypto';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, statSync, truncateSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { afterEach, beforeEach, describe, expect, it } from 'vitest';
import { seconds, unixMillis } from '../../app/quantities/quantity.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { upcast } from '../../app/journal/upcast.ts';
import { openArchive } from '../../main/archive/archive.ts';
import type { Archive, OpenOptions } from '../../main/archive/archive.ts';
import type { Entry } from '../../main/archive/ledger.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { currentVersion, migrations } from '../../main/archive/migrations.ts';
import { ArchiveUnreadable } from '../../main/archive/read.ts';
import { openDatabase } from '../../main/archive/sqlite.ts';
import { oldRuns, writeVersion1 } from '../builders/archive-version-1.ts';
import { attemptBodies, equipment, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import type { Order } from './archive-child.ts';

let folder = '';
let file = '';
let opened: Archive[] = [];
let children: ChildProcess[] = [];

beforeEach(() => {
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  folder = mkdtempSync(join(out, 'archive-'));
  file = join(folder, 'archive.sqlite');
  opened = [];
  children = [];
});

afterEach(() => {
  for (const child of children) child.kill('SIGKILL');
  for (const archive of opened) archive.close();
  rmSync(folder, { recursive: true, force: true });
});

let clock = 1_750_000_000_000;
const now = () => unixMillis((clock += 1000));

const tryOpen = (path: string, options: Partial<OpenOptions> = {}) => {
  const result = openArchive(path, { now, entropy: machineEntropy, ...options });
  if (result.ok) opened.push(result.archive);
  return result;
};

function open(path: string, options: Partial<OpenOptions> = {}): Archive {
  const result = tryOpen(path, options);
  if (!result.ok) throw new Error(result.text);
  return result.archive;
}

function close(archive: Archive): void {
  archive.close();
  opened = opened.filter((other) => other !== archive);
}

function newRun(archive: Archive, name = 'Run', serialNumbers: readonly string[] = ['S-1'], order = 'Order 1'): string {
  const plan = planOf(name, order, serialNumbers, 250);
  const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test 1', simulated: true });
  if (!created.ok) throw new Error(created.text);
  append(archive, created.id, [openedBody(plan)]);
  return created.id;
}

function append(archive: Archive, run: string, bodies: readonly RunEventBody[], frames = framesFrom(1, 0)) {
  const result = archive.append(run, bodies, frames);
  if (!result.ok) throw new Error(result.text);
  return result.events;
}

/** One accepted attempt of a point with frames of its own. */
function measure(archive: Archive, run: string, point: number): void {
  const frames = framesFrom(1 + 40 * point, 40);
  append(archive, run, attemptBodies(point, 1, 'accepted', frames), frames);
}

function readToday(body: RunEventBody): RunEventBody {
  const read = upcast({ seq: 0, at: 0, body });
  if (!read.ok) throw new Error(read.text);
  return read.event.body;
}

function whole(archive: Archive): void {
  expect(archive.verify().checks.filter((check) => !check.passed)).toEqual([]);
}

/** Does something to a table whose guards are off meanwhile. */
function withoutGuards(db: ReturnType<typeof openDatabase>, table: string, change: string): void {
  const triggers = db
    .prepare<[string], { name: string; sql: string }>(`SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?`)
    .all(table);
  db.pragma('foreign_keys = OFF');
  for (const trigger of triggers) db.exec(`DROP TRIGGER ${trigger.name}`);
  db.exec(change);
  for (const trigger of triggers) db.exec(trigger.sql);
}

const childProgram = join(import.meta.dirname, 'archive-child.ts');

/** A process that works on an archive; `line` resolves with the next line that it says, null at its end. */
function start(path: string, order: Order) {
  const child = spawn(process.execPath, [childProgram, path, order], { stdio: ['ignore', 'pipe', 'inherit'] });
  children.push(child);
  const lines = createInterface({ input: child.stdout })[Symbol.asyncIterator]();
  return {
    line: async (): Promise<string | null> => {
      const next = await lines.next();
      return next.done === true ? null : next.value;
    },
    kill: async (): Promise<void> => {
      const exit = new Promise((resolve) => child.once('exit', resolve));
      child.kill('SIGKILL');
      await exit;
    },
  };
}

describe('journal and telemetry', () => {
  it('events come back as they were written, numbered from 0, also after the file was closed', () => {
    const archive = open(file);
    const run = newRun(archive);
    const frames = framesFrom(1, 40);
    const bodies = attemptBodies(0, 1, 'accepted', frames);
    const returned = append(archive, run, bodies, frames);
    expect(returned.map((event) => event.seq)).toEqual(bodies.map((_, i) => i + 1));
    expect([...archive.events(run)].slice(1)).toEqual(returned);
    close(archive);
    const again = open(file);
    expect([...again.events(run, 1)]).toEqual(returned);
    expect([...again.events(run, 1)].map((event) => event.body)).toEqual(bodies);
    measure(again, run, 1);
    whole(again);
  });

  it('telemetry comes back by time and controller start, and a window comes back frame by frame', () => {
    const archive = open(file);
    const run = newRun(archive);
    append(archive, run, [], framesFrom(1, 100, 'one'));
    append(archive, run, [], [...framesFrom(101, 20, 'one'), ...framesFrom(1, 30, 'two')]);
    const frames = framesFrom(31, 40, 'two');
    append(archive, run, attemptBodies(0, 1, 'accepted', frames), [...frames, ...framesFrom(71, 5, 'two')]);
    expect(archive.telemetry(run, seconds(0), seconds(1e9))).toEqual([...framesFrom(1, 120, 'one'), ...framesFrom(1, 75, 'two')]);
    expect(archive.telemetry(run, seconds(1), seconds(2), 'two')).toEqual(framesFrom(20, 21, 'two'));
    expect(archive.telemetry(run, seconds(4.95), seconds(5.1))).toEqual(framesFrom(99, 4, 'one'));
    expect(archive.telemetry(run, seconds(0), seconds(9), 'three')).toEqual([]);
    expect(archive.windowFrames(run, { point: 0, attempt: 1 })).toEqual(frames);
    expect(archive.attempts(run, { limit: 9 })[0]?.bootId).toBe('two');
  });

  it('a controller that comes back with an old boot id and an old clock does not mix up the windows', () => {
    const archive = open(file);
    const run = newRun(archive);
    const frames = framesFrom(1, 40);
    append(archive, run, attemptBodies(0, 1, 'accepted', frames), frames);
    const again = frames.map((frame) => ({ ...frame, edges: frame.edges + 1000 }));
    append(archive, run, attemptBodies(1, 1, 'accepted', again), again);
    expect(archive.windowFrames(run, { point: 0, attempt: 1 })).toEqual(frames);
    expect(archive.windowFrames(run, { point: 1, attempt: 1 })).toEqual(again);
    whole(archive);
  });

  it('frames stay in order when another host goes on with the same controller', () => {
    const first = open(file);
    const run = newRun(first);
    append(first, run, [], framesFrom(1, 40));
    close(first);
    const second = open(file);
    append(second, run, [], framesFrom(41, 40));
    expect(second.telemetry(run, seconds(0), seconds(9))).toEqual(framesFrom(1, 80));
    const db = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    expect(db.prepare('SELECT count(*) AS n FROM segments').get()).toEqual({ n: 1 });
    db.close();
    whole(second);
  });

  it('ARC-1 ARC-3 its id is a UUID of version 7 of its own that a backup keeps, and its hashes are those of the rule', async () => {
    const archive = open(file);
    measure(archive, newRun(archive), 0);
    const copy = join(folder, 'copy.sqlite');
    expect(await archive.backup(copy)).toMatchObject({ ok: true });
    close(archive);
    close(open(join(folder, 'other.sqlite')));
    const read = (path: string) => {
      const db = openDatabase(path, { readOnly: true, busyTimeout: 0 });
      const { id } = db.prepare<[], { id: string }>('SELECT id FROM archive').get() ?? { id: '' };
      const ledger = db.prepare<[], { n: number; text: string; hash: string }>('SELECT n, text, lower(hex(hash)) AS hash FROM ledger ORDER BY n').all();
      db.close();
      return { id, ledger };
    };
    const { id, ledger } = read(file);
    expect(id).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
    expect(read(copy)).toEqual({ id, ledger });
    expect(read(join(folder, 'other.sqlite')).id).not.toBe(id);
    // Written from the rule alone, with the hash of the system.
    const sha256 = (text: string): string => createHash('sha256').update(text, 'utf8').digest('hex');
    expect(ledger.length).toBeGreaterThan(2);
    let hash = sha256(`archive ${id}`);
    for (const [i, entry] of ledger.entries()) {
      hash = sha256(`${hash} ${i + 1} ${entry.text}`);
      expect(entry).toMatchObject({ n: i + 1, hash });
    }
  });

  it.each(['runs', 'events', 'attempts', 'segments', 'telemetry', 'ledger', 'archive'])('ARC-2 no row of %s can be changed or removed', (table) => {
    const archive = open(file);
    measure(archive, newRun(archive), 0);
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    const column = { runs: 'no', ledger: 'n', archive: 'one' }[table] ?? 'run';
    expect(() => db.exec(`UPDATE ${table} SET ${column} = 7`)).toThrow(`${table}: rows are never changed`);
    expect(() => db.exec(`DELETE FROM ${table}`)).toThrow(`${table}: rows are never changed`);
    expect(() => db.exec(`INSERT OR REPLACE INTO ${table} SELECT * FROM ${table}`)).toThrow(`${table}: rows are never changed`);
    db.close();
  });

  it('an attempt that counts must be there', () => {
    const archive = open(file);
    const run = newRun(archive);
    const chosen: RunEventBody = { kind: 'chosen', point: 3, attempt: 1, by: { person: 'Operator 1' }, why: 'It looks right.' };
    expect(() => archive.append(run, [chosen], [])).toThrow('FOREIGN KEY');
    expect([...archive.events(run)]).toHaveLength(1);
    measure(archive, run, 3);
    whole(archive);
  });
});

describe('lists', () => {
  it('runs come newest first, page by page, and a run that is opened meanwhile moves nothing', () => {
    const archive = open(file);
    const ids = Array.from({ length: 7 }, (_, i) => newRun(archive, `R${i}`)).reverse();
    const first = archive.runs({ limit: 3 });
    const late = newRun(archive, 'late');
    const seen = [...first];
    for (let last = first.at(-1); last !== undefined; ) {
      const page = archive.runs({ limit: 3, after: last });
      seen.push(...page);
      last = page.at(-1);
    }
    expect(seen.map((run) => run.id)).toEqual(ids);
    expect(archive.latestRun()?.id).toBe(late);
    expect(archive.run(late)?.planName).toBe('late');
    expect(archive.run('nothing')).toBeNull();
  });

  it('a run whose host died before its journal began is not shown', () => {
    const archive = open(file);
    const run = newRun(archive);
    const created = archive.createRun({ plan: planOf('Never begun', '', ['S']), equipment, operator: '', software: '', simulated: true });
    expect(archive.latestRun()?.id).toBe(run);
    expect(archive.run(created.ok ? created.id : '')?.status.events).toBe(0);
    whole(archive);
  });

  it('runs that were made in the same millisecond are neither lost nor shown twice', () => {
    const archive = open(file, { now: () => unixMillis(1_750_000_000_000) });
    const ids = Array.from({ length: 9 }, () => newRun(archive));
    const seen: string[] = [];
    for (let page = archive.runs({ limit: 2 }); page.length > 0; ) {
      seen.push(...page.map((run) => run.id));
      const last = page.at(-1);
      page = last === undefined ? [] : archive.runs({ limit: 2, after: last });
    }
    expect(seen.toSorted()).toEqual(ids.toSorted());
  });

  it('runs are found by plan, order, serial number and type, in any case; nothing is a wildcard', () => {
    const archive = open(file);
    newRun(archive, 'Warm', ['AB-1', 'AB-2'], 'Q 17');
    newRun(archive, 'Cold 100%', ['CD_1'], 'Q 18');
    const found = (text: string) => archive.runs({ text, limit: 9 }).map((run) => run.planName);
    expect(found('ab-2')).toEqual(['Warm']);
    expect(found('q 1')).toEqual(['Cold 100%', 'Warm']);
    expect(found('type b')).toEqual(['Warm']);
    expect(found('WARM')).toEqual(['Warm']);
    expect(found('%')).toEqual(['Cold 100%']);
    expect(found('_')).toEqual(['Cold 100%']);
    expect(found('xyz')).toEqual([]);
  });

  it('the list shows progress and ending as the journal has them', () => {
    const archive = open(file);
    const run = newRun(archive);
    const status = () => archive.run(run)?.status;
    expect(status()).toMatchObject({ events: 1, points: 3000, attempts: 0, counting: 0, ending: null });
    measure(archive, run, 0);
    const frames = framesFrom(41, 40);
    append(archive, run, attemptBodies(1, 1, 'rejected', frames), frames);
    expect(status()).toMatchObject({ attempts: 2, counting: 1 });
    append(archive, run, [{ kind: 'chosen', point: 0, attempt: null, by: { person: 'Operator 1' }, why: 'A leak was seen.' }]);
    expect(status()).toMatchObject({ attempts: 2, counting: 0 });
    append(archive, run, [{ kind: 'ended', ending: 'aborted', text: 'Aborted.' }]);
    expect(status()).toMatchObject({ ending: 'aborted', lastAt: clock });
    append(archive, run, [{ kind: 'reopened', why: 'Points are measured again.' }]);
    expect(status()?.ending).toBeNull();
    whole(archive);
  });

  it('attempts come by point and attempt, page by page, while more are added', () => {
    const archive = open(file);
    const run = newRun(archive);
    for (let point = 0; point < 5; point += 1) {
      for (let attempt = 1; attempt <= 2; attempt += 1) {
        const frames = framesFrom(1 + 40 * (2 * point + attempt - 1), 40);
        append(archive, run, attemptBodies(point, attempt, attempt === 1 ? 'rejected' : 'accepted', frames), frames);
      }
    }
    const first = archive.attempts(run, { limit: 3 });
    measure(archive, run, 20);
    const rest = archive.attempts(run, { limit: 99, after: first[2] ?? { point: 0, attempt: 0 } });
    const all = [...first, ...rest];
    expect(all.map((a) => [a.point, a.attempt, a.verdict, a.counts])).toEqual([
      ...[0, 1, 2, 3, 4].flatMap((point) => [
        [point, 1, 'rejected', false],
        [point, 2, 'accepted', true],
      ]),
      [20, 1, 'accepted', true],
    ]);
    expect(archive.attempts(run, { point: 3, limit: 9 }).map((a) => [a.point, a.attempt])).toEqual([
      [3, 1],
      [3, 2],
    ]);
    expect(archive.attempts(run, { point: 3, limit: 9, after: { point: 3, attempt: 1 } }).map((a) => a.attempt)).toEqual([2]);
  });
});

/** Its events as they are read today (what is stored is held fast by the hash chain), and its telemetry. */
function keeps(archive: Archive, old: (typeof oldRuns)[number]): void {
  expect([...archive.events(old.id)].map((event) => event.body)).toEqual(old.appends.flatMap((a) => a.bodies).map(readToday));
  // What windows are sent is the same.
  expect([...archive.eventTexts(old.id)].map((text) => JSON.parse(text) as unknown)).toEqual([...archive.events(old.id)]);
  expect(archive.telemetry(old.id, seconds(0), seconds(1e9))).toEqual(old.appends.flatMap((a) => a.frames));
}

/** Every table and row, but for what is new each time: the archive's own id and the times of its ledger. */
const contents = (path: string): unknown => {
  const db = openDatabase(path, { readOnly: true, busyTimeout: 0 });
  const tables = db.prepare<[], { name: string; sql: string }>(`SELECT name, sql FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name`).all();
  const rows = tables.map(({ name, sql }) => [name, sql, /ledger|archive/.test(name) ? null : db.prepare(`SELECT * FROM ${name}`).all()]);
  db.close();
  return rows;
};

describe('opening', () => {
  it('an old file is brought to the present version, keeps everything, and a copy of it stays', () => {
    const stored = join(import.meta.dirname, 'fixtures/archive-version-1.sqlite');
    copyFileSync(stored, file);
    const before = open(file, { readOnly: true });
    expect(before.note).toContain('is of version 1. It was not changed');
    whole(before);
    expect(before.telemetry(oldRuns[0]?.id ?? '', seconds(0), seconds(1e9))).toEqual(oldRuns[0]?.appends.flatMap((a) => a.frames));
    close(before);
    const archive = open(file);
    whole(archive);
    for (const old of oldRuns) {
      keeps(archive, old);
      expect(archive.run(old.id)).toMatchObject({ createdAt: old.createdAt, planName: old.plan.name, order: old.plan.order });
    }
    expect(archive.runs({ text: 's-102', limit: 9 }).map((run) => run.status)).toMatchObject([{ attempts: 4, counting: 3, ending: 'finished-early' }]);
    measure(archive, oldRuns[1]?.id ?? '', 9);
    whole(archive);
    close(archive);
    const copy = openDatabase(`${file}.before-version-${currentVersion}`, { readOnly: true, busyTimeout: 0 });
    expect(copy.pragma('user_version', { simple: true })).toBe(1);
    expect(copy.prepare('SELECT count(*) AS n FROM runs').get()).toEqual({ n: 2 });
    copy.close();
    whole(open(file, { readOnly: true }));
  });

  it.each(migrations.slice(1, -1).map((step) => step.version))('a file that was left at version %i on its way comes to the same archive as one that was never opened since version 1', (version) => {
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-1.sqlite'), file);
    const between = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    between.pragma('foreign_keys = OFF');
    // As the program of that version left it: earlier steps are never edited.
    for (const step of migrations.slice(1, version)) step.apply(between, { id: 'of no ledger yet', at: 0 }, 1);
    between.pragma(`user_version = ${version}`);
    between.close();
    // What lies stored of that version was made by these steps: one that is edited shows here.
    const stored = join(import.meta.dirname, `fixtures/archive-version-${version}.sqlite`);
    if (version < 4) expect(contents(file)).toEqual(contents(stored));
    const before = open(file, { readOnly: true });
    expect(before.note).toContain(`is of version ${version}. It was not changed`);
    whole(before);
    close(before);
    const archive = open(file);
    whole(archive);
    for (const old of oldRuns) keeps(archive, old);
    close(archive);
    const direct = join(folder, 'direct.sqlite');
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-1.sqlite'), direct);
    const other = tryOpen(direct);
    if (!other.ok) throw new Error(other.text);
    close(other.archive);
    expect(contents(file)).toEqual(contents(direct));
  });

  it('ARC-5 a file from before the ledger is entered as it lies there, and bound from then on', () => {
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-4.sqlite'), file);
    const archive = open(file);
    whole(archive);
    expect(archive.ledger.id()).toMatch(/^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-/u);
    const entries = [...archive.ledger.entries()].map((row) => JSON.parse(row.text) as Entry);
    expect(entries[0]).toMatchObject({ kind: 'begun', from: 4 });
    const count = (kind: Entry['kind']) => entries.filter((entry) => entry.kind === kind).length;
    expect({ parts: count('parts'), plans: count('plan'), equipment: count('equipment'), checks: count('meter-check'), runs: count('run') }).toEqual({ parts: 3, plans: 2, equipment: 2, checks: 1, runs: 2 });
    expect([...archive.everyRun()].map((run) => [run.planName, run.simulated, run.status.attempts])).toEqual([['Fourth', null, 2], ['Third', null, 3]]);
    const head = archive.head();
    // It goes on: a run, another version of a plan and of an injector.
    const plan = archive.library.plans()[0];
    archive.library.savePlan({ id: plan?.id ?? null, name: 'Saved 3', document: {}, by: 'Operator 1' });
    archive.library.saveParts(archive.library.parts().map((part) => ({ ...part, condition: 'sealed' })));
    measure(archive, archive.latestRun()?.id ?? '', 9);
    newRun(archive);
    whole(archive);
    close(archive);
    const reader = open(file, { readOnly: true });
    expect(reader.verify([head]).passed).toBe(true);
    expect(reader.head().n).toBe(head.n + 5);
    expect([...reader.everyRun()].map((run) => run.simulated)).toEqual([null, null, true]);
    const copy = openDatabase(`${file}.before-version-${currentVersion}`, { readOnly: true, busyTimeout: 0 });
    expect(copy.pragma('user_version', { simple: true })).toBe(4);
    copy.close();
  });

  it.each([
    ['telemetry outside of the windows', 'telemetry', 'DELETE FROM telemetry WHERE run = 1 AND chunk = (SELECT max(chunk) FROM telemetry WHERE run = 1)'],
    ['an injector', 'part_versions', `UPDATE part_versions SET condition = 'as new' WHERE version = 1`],
    ['the latest equipment record', 'equipment_versions', 'DELETE FROM equipment_versions WHERE version = 2'],
    ['who saved a plan', 'plan_versions', `UPDATE plan_versions SET saved_by = 'Operator 9'`],
  ])('ARC-5 what was taken over cannot be changed later without being found: %s', (_, table, sql) => {
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-4.sqlite'), file);
    close(open(file));
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    withoutGuards(db, table, sql);
    db.close();
    expect(open(file, { readOnly: true }).verify().checks.filter((check) => !check.passed).map((check) => check.name)).toContain('entered');
  });

  it('the stored old file is what its builder says, and step 1 was not edited since', () => {
    const made = join(folder, 'made.sqlite');
    writeVersion1(made);
    const contents = (path: string) => {
      const db = openDatabase(path, { readOnly: true, busyTimeout: 0 });
      const tables = ['sqlite_schema', 'runs', 'events', 'attempts', 'segments'];
      const rows = tables.map((table) => db.prepare(`SELECT * FROM ${table}`).all());
      db.close();
      return rows;
    };
    const stored = join(folder, 'stored.sqlite');
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-1.sqlite'), stored);
    expect(contents(stored)).toEqual(contents(made));
  });

  it('a migration that fails leaves the old file as it was', () => {
    copyFileSync(join(import.meta.dirname, 'fixtures/archive-version-1.sqlite'), file);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    db.exec('DROP TRIGGER events_no_update');
    db.exec(`UPDATE events SET body = 'no longer JSON' WHERE run = 1 AND seq = 5`);
    db.close();
    const result = tryOpen(file);
    expect(result).toMatchObject({ ok: false, code: 'damaged' });
    expect(result.ok ? '' : result.text).toMatch(/damaged\. Event 5 .*not JSON\. Nothing was changed\./);
    const after = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    expect(after.pragma('user_version', { simple: true })).toBe(1);
    expect(after.prepare('SELECT count(*) AS n FROM events').get()).toEqual({
      n: oldRuns.flatMap((run) => run.appends.flatMap((a) => a.bodies)).length,
    });
    after.close();
  });

  it('migrations are numbered from 1 without a gap', () => {
    expect(migrations.map((step) => step.version)).toEqual(migrations.map((_, i) => i + 1));
  });

  it('a file of a newer version is refused with both versions, and not touched', () => {
    close(open(file));
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    db.pragma('journal_mode = DELETE');
    db.pragma(`user_version = ${currentVersion + 1}`);
    db.close();
    const before = readFileSync(file);
    for (const readOnly of [true, false]) {
      const result = tryOpen(file, { readOnly });
      expect(result).toMatchObject({ ok: false, code: 'newer' });
      expect(result.ok ? '' : result.text).toContain(
        `newer version of this program (archive version ${currentVersion + 1}; this program reads up to ${currentVersion}). Nothing was changed.`,
      );
    }
    expect(readFileSync(file).equals(before)).toBe(true);
  });

  it('a file that is no archive is refused and not touched, and nothing is put beside it', () => {
    const text = join(folder, 'notes.txt');
    writeFileSync(text, 'Not a database, but a text that is long enough to be taken for one. '.repeat(20));
    const foreign = join(folder, 'foreign.sqlite');
    const db = openDatabase(foreign, { readOnly: false, busyTimeout: 0 });
    db.exec('CREATE TABLE things (name TEXT)');
    db.close();
    for (const path of [text, foreign]) {
      const before = readFileSync(path);
      expect(tryOpen(path)).toMatchObject({ ok: false, code: 'not-an-archive' });
      expect(tryOpen(path, { readOnly: true })).toMatchObject({ ok: false, code: 'not-an-archive' });
      expect(readFileSync(path).equals(before)).toBe(true);
      expect(existsSync(`${path}.lock`)).toBe(false);
    }
  });

  it('what is absent is said to be absent', () => {
    expect(tryOpen(file, { readOnly: true })).toMatchObject({ ok: false, code: 'absent' });
    expect(existsSync(file)).toBe(false);
    expect(tryOpen(join(folder, 'no/such/folder/a.sqlite'))).toMatchObject({ ok: false, code: 'absent' });
  });

  it('an empty file left by a death at the first start becomes an archive', () => {
    writeFileSync(file, '');
    expect(tryOpen(file, { readOnly: true })).toMatchObject({ ok: false, code: 'not-an-archive' });
    whole(open(file));
  });

  it('a damaged file is refused at opening, for reading and for writing', () => {
    const archive = open(file);
    const run = newRun(archive);
    for (let point = 0; point < 30; point += 1) measure(archive, run, point);
    close(archive);
    const bytes = readFileSync(file);
    const page = 4096;
    for (const damage of ['overwritten', 'cut short'] as const) {
      const damaged = join(folder, `${damage}.sqlite`);
      writeFileSync(damaged, bytes);
      if (damage === 'overwritten') {
        const wrong = Buffer.from(bytes);
        wrong.fill(0xa5, 5 * page, 25 * page);
        writeFileSync(damaged, wrong);
      } else {
        truncateSync(damaged, Math.floor(bytes.length / page / 2) * page);
      }
      for (const readOnly of [true, false]) {
        const result = tryOpen(damaged, { readOnly });
        expect(result).toMatchObject({ ok: false, code: 'damaged' });
        expect(result.ok ? '' : result.text).toMatch(/damaged.*Nothing was changed\. Keep the file and continue from a backup\./);
      }
    }
  });
});

describe('one writer', () => {
  it('a second writer in this process is refused, by any name of the file; readers are not', () => {
    const archive = open(file);
    const run = newRun(archive);
    expect(tryOpen(file)).toMatchObject({ ok: false, code: 'busy' });
    expect(tryOpen(join(folder, '..', folder.split('/').at(-1) ?? '', 'archive.sqlite'))).toMatchObject({ ok: false, code: 'busy' });
    const reader = open(file, { readOnly: true });
    measure(archive, run, 0);
    expect(reader.attempts(run, { limit: 9 })).toHaveLength(1);
    expect(() => reader.createRun({ plan: planOf('x', '', ['y']), equipment, operator: '', software: '', simulated: true })).toThrow('reading only');
    whole(reader);
    close(archive);
    close(reader);
    measure(open(file), run, 1);
  });

  it('a damaged lock file is told apart from a damaged archive', () => {
    const archive = open(file);
    const run = newRun(archive);
    close(archive);
    writeFileSync(`${file}.lock`, 'not a lock file, but long enough to be taken for one. '.repeat(20));
    const result = tryOpen(file);
    expect(result).toMatchObject({ ok: false, code: 'io' });
    expect(result.ok ? '' : result.text).toContain(`The lock file ${file}.lock is damaged`);
    rmSync(`${file}.lock`);
    measure(open(file), run, 0);
  });

  it('a second writer in another process is refused with the number of the first, until that one dies', async () => {
    const child = start(file, 'hold');
    expect(await child.line()).toBe('open');
    const pid = String(children[0]?.pid);
    const refused = tryOpen(file);
    expect(refused).toMatchObject({ ok: false, code: 'busy' });
    expect(refused.ok ? '' : refused.text).toContain(`already being written by process ${pid}. Nothing was changed, and it can still be read.`);
    close(open(file, { readOnly: true }));
    await child.kill();
    const archive = open(file);
    const other = start(file, 'hold');
    expect(await other.line()).toContain(`busy: The archive ${file} is already being written by process ${process.pid}.`);
    whole(archive);
  });
});

describe('deaths', () => {
  it('a writer that dies inside a transaction leaves nothing of it, and everything before it', async () => {
    const child = start(file, 'die-inside');
    expect([await child.line(), await child.line(), await child.line()]).toEqual(['open', 'done 0', null]);
    const archive = open(file);
    const run = archive.latestRun();
    const frames = framesFrom(1, 40);
    const bodies = attemptBodies(0, 1, 'accepted', frames);
    expect([...archive.events(run?.id ?? '')].slice(1).map((event) => event.body)).toEqual(bodies);
    expect(archive.telemetry(run?.id ?? '', seconds(0), seconds(1e9))).toEqual(frames);
    whole(archive);
    measure(archive, run?.id ?? '', 1);
    whole(archive);
  });

  it('a writer that is killed at any time has lost nothing that it was told is safe', async () => {
    for (const points of [1, 4, 17, 60, 130]) {
      const path = join(folder, `killed-${points}.sqlite`);
      const child = start(path, 'measure');
      let last = '';
      for (let i = 0; i <= points; i += 1) last = (await child.line()) ?? '';
      await child.kill();
      for (let line = await child.line(); line !== null; line = await child.line()) last = line;
      const confirmed = Number(/^done (\d+)$/.exec(last)?.[1]) + 1;
      const archive = open(path);
      const run = archive.latestRun()?.id ?? '';
      const kept = archive.attempts(run, { limit: 1e6 });
      expect(kept.length).toBeGreaterThanOrEqual(confirmed);
      // At most the one that was being committed when the kill came, whose confirmation was not heard.
      expect(kept.length).toBeLessThanOrEqual(confirmed + 1);
      whole(archive);
      close(archive);
    }
  });
});

describe('a full disk', () => {
  it('is a result with a sentence; nothing of the call is written, and it goes on when there is room', () => {
    const archive = open(file, { maxBytes: 300_000 });
    const run = newRun(archive);
    let point = 0;
    const tryMeasure = (to: Archive) => {
      const frames = framesFrom(1 + 40 * point, 40);
      return to.append(run, attemptBodies(point, 1, 'accepted', frames), frames);
    };
    let result = tryMeasure(archive);
    while (result.ok && point < 1000) {
      point += 1;
      result = tryMeasure(archive);
    }
    expect(result).toMatchObject({ ok: false, code: 'disk-full' });
    expect(result.ok ? '' : result.text).toMatch(/is full\. Nothing of this step was written and everything before it is kept\. Free some space/);
    expect(archive.attempts(run, { limit: 1000 })).toHaveLength(point);
    expect([...archive.events(run)]).toHaveLength(1 + 8 * point);
    expect(tryMeasure(archive).ok).toBe(false);
    whole(archive);
    close(archive);
    const larger = open(file);
    expect(tryMeasure(larger).ok).toBe(true);
    expect(larger.attempts(run, { limit: 1000 })).toHaveLength(point + 1);
    whole(larger);
  });

  it('for a new run and a new archive too', () => {
    const archive = open(file, { maxBytes: 160_000 });
    let created = archive.createRun({ plan: planOf('P'.repeat(100), 'O'.repeat(100), ['S']), equipment, operator: 'x'.repeat(2000), software: 'y', simulated: true });
    let runs = 0;
    while (created.ok && runs < 1000) {
      runs += 1;
      created = archive.createRun({ plan: planOf('P'.repeat(100), 'O'.repeat(100), ['S']), equipment, operator: 'x'.repeat(2000), software: 'y', simulated: true });
    }
    expect(created).toMatchObject({ ok: false, code: 'disk-full' });
    whole(archive);
    close(archive);
    const db = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    expect(db.prepare('SELECT count(*) AS n FROM runs').get()).toEqual({ n: runs });
    db.close();
    expect(tryOpen(join(folder, 'new.sqlite'), { maxBytes: 10_000 })).toMatchObject({ ok: false, code: 'disk-full' });
  });

  // A file system of one megabyte of its own, where the system lets this user make one.
  const ownNamespace = 'unshare';
  const unshare = (command: string) => spawnSync(ownNamespace, ['-rm', 'sh', '-c', command], { encoding: 'utf8' });
  const mayMount = unshare('mount -t tmpfs -o size=1m none /mnt').status === 0;
  it.skipIf(!mayMount)('a real one', () => {
    const small = join(folder, 'small');
    mkdirSync(small);
    const copy = join(folder, 'copy');
    mkdirSync(copy);
    const done = unshare(
      `mount -t tmpfs -o size=1m none '${small}' && '${process.execPath}' '${childProgram}' '${small}/archive.sqlite' measure; code=$?; cp '${small}'/archive.sqlite* '${copy}'; exit $code`,
    );
    expect(done.stderr).toBe('');
    expect(done.status).toBe(2);
    const said = done.stdout.trim().split('\n');
    expect(said.at(-1)).toMatch(/^disk-full: /);
    const confirmed = said.filter((line) => line.startsWith('done ')).length;
    expect(confirmed).toBeGreaterThan(5);
    const archive = open(join(copy, 'archive.sqlite'));
    expect(archive.attempts(archive.latestRun()?.id ?? '', { limit: 1e6 })).toHaveLength(confirmed);
    whole(archive);
  });
});

describe('backup', () => {
  it('is made while points are measured, is one whole file, and holds all that was there when it began', async () => {
    const archive = open(file);
    const run = newRun(archive);
    let point = 0;
    for (; point < 300; point += 1) measure(archive, run, point);
    const before = point;
    const copying = { on: true };
    const copy = join(folder, 'copy.sqlite');
    const backup = archive.backup(copy).finally(() => {
      copying.on = false;
    });
    while (copying.on) {
      measure(archive, run, point);
      point += 1;
      await new Promise((resolve) => setImmediate(resolve));
    }
    const result = await backup;
    expect(result).toEqual({ ok: true, path: copy, bytes: statSync(copy).size });
    expect(point).toBeGreaterThan(before);
    const kept = open(copy, { readOnly: true });
    whole(kept);
    const attempts = kept.attempts(run, { limit: 1e6 }).length;
    expect(attempts).toBeGreaterThanOrEqual(before);
    expect(attempts).toBeLessThanOrEqual(point);
    whole(archive);
  });

  it('comes to its end beside another process that commits without a pause, and is whole', async () => {
    const child = start(file, 'measure');
    for (let i = 0; i <= 300; i += 1) await child.line();
    const reader = open(file, { readOnly: true });
    const copy = join(folder, 'copy.sqlite');
    expect(await reader.backup(copy)).toMatchObject({ ok: true });
    expect(await child.line()).toMatch(/^done /);
    const kept = open(copy, { readOnly: true });
    expect(kept.attempts(kept.latestRun()?.id ?? '', { limit: 1e6 }).length).toBeGreaterThanOrEqual(300);
    whole(kept);
  });

  it('does not replace a file and wants its folder; the reason is a sentence', async () => {
    const archive = open(file);
    const taken = join(folder, 'taken');
    writeFileSync(taken, 'mine');
    expect(await archive.backup(taken)).toMatchObject({ ok: false, code: 'exists' });
    expect(readFileSync(taken, 'utf8')).toBe('mine');
    expect(await archive.backup(join(folder, 'no/where'))).toMatchObject({ ok: false, code: 'absent' });
  });
});

describe('verify', () => {
  it.each<[found: string, table: string, change: string]>([
    ['hash chain', 'events', `UPDATE events SET body = replace(body, '"pulses":', '"pulses":1') WHERE seq = 7`],
    ['hash chain', 'events', 'UPDATE events SET at = at + 1 WHERE seq = 3'],
    ['hash chain', 'events', `DELETE FROM events WHERE kind = 'step' AND seq = 5`],
    ['hash chain', 'events', `UPDATE events SET kind = 'paused' WHERE seq = 4`],
    ['hash chain', 'runs', `UPDATE runs SET operator = 'Somebody else'`],
    ['journals', 'events', `UPDATE events SET body = '{"kind":"never-heard-of"}' WHERE seq = 4`],
    ['attempts', 'attempts', `UPDATE attempts SET verdict = 'rejected' WHERE point = 1`],
    ['attempts', 'attempts', 'DELETE FROM attempts WHERE point = 2'],
    ['references', 'attempts', 'DELETE FROM attempts WHERE point = 2'],
    ['list of runs', 'run_status', 'UPDATE run_status SET counting = 7'],
    ['list of runs', 'run_status', 'DELETE FROM run_status'],
    ['list of runs', 'counting', 'DELETE FROM counting WHERE point = 0'],
    ['telemetry', 'telemetry', 'DELETE FROM telemetry WHERE chunk = 1'],
    ['telemetry', 'telemetry', 'UPDATE telemetry SET data = (SELECT data FROM telemetry WHERE chunk = 0) WHERE chunk = 1'],
    ['telemetry', 'telemetry', `UPDATE telemetry SET data = x'00112233' WHERE chunk = 2`],
    ['windows', 'telemetry', 'DELETE FROM telemetry WHERE chunk = 1'],
    ['windows', 'telemetry', `UPDATE telemetry SET data = x'00112233' WHERE chunk = 2`],
    ['schema', 'events', 'DROP INDEX telemetry_by_time'],
  ])('finds it (%s): %s: %s', (found, table, change) => {
    const archive = open(file);
    const run = newRun(archive);
    for (let point = 0; point < 3; point += 1) measure(archive, run, point);
    whole(archive);
    close(archive);
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    withoutGuards(db, table, change);
    db.close();
    const verification = open(file, { readOnly: true }).verify();
    expect(verification.passed).toBe(false);
    const check = verification.checks.find((one) => one.name === found);
    expect(check?.passed).toBe(false);
    expect(check?.text).toMatch(/\.$/);
  });

  it('finds a missing guard against changes', () => {
    close(open(file));
    const db = openDatabase(file, { readOnly: false, busyTimeout: 0 });
    db.exec('DROP TRIGGER events_no_delete');
    db.close();
    const failed = open(file, { readOnly: true }).verify().checks.filter((check) => !check.passed);
    expect(failed).toEqual([{ name: 'schema', passed: false, text: '"events_no_delete" is missing or has been changed.' }]);
  });

  it('says of a file that is damaged inside that it is, and stops there', () => {
    const archive = open(file);
    const run = newRun(archive);
    for (let point = 0; point < 40; point += 1) measure(archive, run, point);
    close(archive);
    const reader = open(file, { readOnly: true });
    // A commit of somebody else: what the reader has seen at its opening is read anew.
    const writer = open(file);
    measure(writer, run, 40);
    const wrong = readFileSync(file);
    wrong.fill(0xa5, 8 * 4096, wrong.length);
    writeFileSync(file, wrong);
    expect(() => reader.attempts(run, { limit: 1e6 })).toThrow(ArchiveUnreadable);
    expect(() => reader.attempts(run, { limit: 1e6 })).toThrow('continue from a backup');
    const { passed, checks } = reader.verify();
    expect(passed).toBe(false);
    expect(checks.map((check) => [check.name, check.passed])).toEqual([
      ['structure', false],
      ['contents', false],
    ]);
  });
});
