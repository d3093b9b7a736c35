/**
 * What an archive does when its file is hurt, and when a process dies at its side: single bits flipped, the file cut short, `verify` asked
 * each time; kill -9 while it is brought to this version, backed up and exported.
 */
import { spawn } from 'node:child_process';
import { copyFileSync, existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { createInterface } from 'node:readline';
import { isDeepStrictEqual } from 'node:util';
import { openArchive } from '../../main/archive/archive.ts';
import { sha256 } from '../../main/archive/chain.ts';
import { machineClock, machineEntropy } from '../../main/clock/machine.ts';
import { ArchiveUnreadable } from '../../main/archive/read.ts';
import { openDatabase } from '../../main/archive/sqlite.ts';
import { exportRun } from '../../main/export/export-run.ts';
import { checkExport } from '../../main/export/manifest.ts';
import { loadRun } from '../../main/service/run-service.ts';
import { makeLabArchive } from '../builders/lab-archive.ts';
import { Chance } from '../storm/draw.ts';
import type { Deed } from './damage-child.ts';

const tables = ['runs', 'events', 'attempts', 'segments', 'telemetry', 'part_versions', 'plan_versions', 'equipment_versions', 'meter_checks', 'visit_records', 'photos', 'record_versions', 'counting', 'run_status', 'archive', 'ledger'];

/** Everything that a reader gets from a file, in one hash; null: it cannot be read. Of a file of any version. */
function contents(file: string, of: readonly string[] = tables): string | null {
  try {
    const db = openDatabase(file, { readOnly: true, busyTimeout: 0 });
    try {
      return sha256(JSON.stringify(of.map((table) => db.prepare(`SELECT * FROM ${table} ORDER BY 1, 2`).all())));
    } finally {
      db.close();
    }
  } catch {
    return null;
  }
}

/** found: refused at the opening, or by `verify`. */
type Seen = 'found' | 'whole' | 'defect';

function look(file: string): { readonly seen: Seen; readonly text: string } {
  try {
    const opened = openArchive(file, { readOnly: true });
    if (!opened.ok) return { seen: 'found', text: opened.text };
    try {
      const { passed, checks } = opened.archive.verify();
      return { seen: passed ? 'whole' : 'found', text: checks.find((check) => !check.passed)?.text ?? '' };
    } finally {
      opened.archive.close();
    }
  } catch (error) {
    return { seen: error instanceof ArchiveUnreadable ? 'found' : 'defect', text: String(error) };
  }
}

export interface Damage {
  tried: number;
  found: number;
  /** What is read is as before. */
  harmless: number;
  readonly undetected: string[];
  readonly defects: string[];
}

const nothing = (): Damage => ({ tried: 0, found: 0, harmless: 0, undetected: [], defects: [] });

function count(to: Damage, what: string, file: string, whole: string | null): void {
  to.tried += 1;
  const { seen, text } = look(file);
  if (seen === 'defect') to.defects.push(`${what}: ${text}`);
  else if (seen === 'found') to.found += 1;
  else if (contents(file) === whole) to.harmless += 1;
  else to.undetected.push(what);
}

function scratch(): string {
  const out = join(import.meta.dirname, '../.out');
  mkdirSync(out, { recursive: true });
  return mkdtempSync(join(out, 'damage-'));
}

/** Flips single bits, and cuts the file at random places. */
export async function damaged(flips: number, cuts: number, seed: number): Promise<{ readonly flips: Damage; readonly cuts: Damage }> {
  const folder = scratch();
  const chance = new Chance(seed, 'damage');
  const found = { flips: nothing(), cuts: nothing() };
  try {
    const archive = join(folder, 'archive.sqlite');
    await makeLabArchive(archive);
    const whole = contents(archive);
    const bytes = readFileSync(archive);
    const file = join(folder, 'damaged.sqlite');
    for (let i = 0; i < flips; i += 1) {
      const at = chance.nextUint32() % bytes.length;
      const bit = chance.nextUint32() % 8;
      const wrong = Buffer.from(bytes);
      wrong[at] = (wrong[at] ?? 0) ^ (1 << bit);
      writeFileSync(file, wrong);
      count(found.flips, `bit ${bit} of byte ${at}`, file, whole);
    }
    for (let i = 0; i < cuts; i += 1) {
      const length = chance.nextUint32() % bytes.length;
      writeFileSync(file, bytes.subarray(0, length));
      count(found.cuts, `cut to ${length} bytes`, file, whole);
    }
    return found;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Does a deed in another process and kills it some milliseconds after it began; true: it was done before that. */
async function killed(args: readonly [string, Deed, string?], afterMs: number): Promise<boolean> {
  const child = spawn(process.execPath, [join(import.meta.dirname, 'damage-child.ts'), ...args.filter((arg) => arg !== undefined)], { stdio: ['ignore', 'pipe', 'inherit'] });
  const exit = new Promise((resolve) => child.once('exit', resolve));
  let done = false;
  for await (const line of createInterface({ input: child.stdout })) {
    if (line === 'done') done = true;
    if (line === 'begin') setTimeout(() => child.kill('SIGKILL'), afterMs);
  }
  await exit;
  return done;
}

export interface Deaths {
  readonly deed: Deed;
  kills: number;
  /** The deed was done before the kill came. */
  late: number;
  readonly problems: string[];
}

/** Kills a process in the middle of each deed, at random instants. */
export async function killDeeds(kills: number, seed: number): Promise<Deaths[]> {
  const folder = scratch();
  const chance = new Chance(seed, 'kills');
  try {
    const archive = join(folder, 'archive.sqlite');
    await makeLabArchive(archive);
    return [await killMigration(folder, kills, chance), await killBackup(folder, archive, kills, chance), await killExport(folder, archive, kills, chance)];
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const instant = (chance: Chance, mostMs: number): number => (chance.nextUint32() / 2 ** 32) * mostMs;

async function killMigration(folder: string, kills: number, chance: Chance): Promise<Deaths> {
  const found: Deaths = { deed: 'migrate', kills: 0, late: 0, problems: [] };
  const stored = join(import.meta.dirname, 'fixtures/archive-version-4.sqlite');
  const kept = ['events', 'segments', 'attempts', 'telemetry', 'meter_checks'];
  const before = contents(stored, kept);
  for (; found.kills < kills; found.kills += 1) {
    const place = mkdtempSync(join(folder, 'old-'));
    const file = join(place, 'old.sqlite');
    copyFileSync(stored, file);
    if (await killed([file, 'migrate'], instant(chance, 60))) found.late += 1;
    const copy = readdirSync(place).find((name) => /\.before-version-\d+$/u.test(name));
    if (copy !== undefined && contents(join(place, copy), kept) !== before) found.problems.push('the copy of the old file is not whole');
    const opened = openArchive(file, { now: () => machineClock.unixNow(), entropy: machineEntropy });
    if (!opened.ok) {
      found.problems.push(opened.text);
      continue;
    }
    const wrong = opened.archive.verify().checks.find((check) => !check.passed);
    opened.archive.close();
    if (wrong !== undefined) found.problems.push(wrong.text);
    if (contents(file, kept) !== before) found.problems.push('something is lost');
    if (readdirSync(place).some((name) => name.includes('.unfinished'))) found.problems.push('half a copy is left');
    rmSync(place, { recursive: true });
  }
  return found;
}

async function killBackup(folder: string, archive: string, kills: number, chance: Chance): Promise<Deaths> {
  const found: Deaths = { deed: 'backup', kills: 0, late: 0, problems: [] };
  const before = contents(archive);
  for (; found.kills < kills; found.kills += 1) {
    const to = join(folder, `backup-${found.kills}.sqlite`);
    if (await killed([archive, 'backup', to], instant(chance, 40))) found.late += 1;
    if (existsSync(to) && (look(to).seen !== 'whole' || contents(to) !== before)) found.problems.push('a copy under its final name is not whole');
    rmSync(to, { force: true });
    const opened = openArchive(archive, { readOnly: true });
    if (!opened.ok) {
      found.problems.push(opened.text);
      continue;
    }
    const copied = await opened.archive.backup(to);
    opened.archive.close();
    if (!copied.ok) found.problems.push(copied.text);
    if (readdirSync(folder).some((name) => name.includes('.unfinished'))) found.problems.push('half a copy is left');
  }
  return found;
}

async function exportHere(archive: string, to: string): Promise<string | null> {
  const opened = openArchive(archive, { readOnly: true });
  if (!opened.ok) return opened.text;
  const runId = opened.archive.latestRun()?.id ?? '';
  const loaded = loadRun(opened.archive, runId);
  const written = loaded.ok ? await exportRun(to, { archive: opened.archive, runId, state: loaded.state, software: 'first' }) : null;
  opened.archive.close();
  return written?.kind === 'written' ? null : (written?.text ?? 'the run cannot be read');
}

async function killExport(folder: string, archive: string, kills: number, chance: Chance): Promise<Deaths> {
  const found: Deaths = { deed: 'export', kills: 0, late: 0, problems: [] };
  for (; found.kills < kills; found.kills += 1) {
    const place = mkdtempSync(join(folder, 'export-'));
    const to = join(place, 'tables');
    const first = await exportHere(archive, to);
    if (first !== null) found.problems.push(first);
    if (await killed([archive, 'export', to], instant(chance, 150))) found.late += 1;
    const left = existsSync(to) ? to : `${to}.export-before`;
    const checked = await checkExport(left);
    if (!checked.whole) found.problems.push(`${left}: ${checked.problems.join(' ')}`);
    const again = await exportHere(archive, to);
    if (again !== null) found.problems.push(again);
    if (!isDeepStrictEqual(readdirSync(place), ['tables'])) found.problems.push(`left over: ${readdirSync(place).join(', ')}`);
    if (!(await checkExport(to)).whole) found.problems.push('the next export is not whole');
    rmSync(place, { recursive: true });
  }
  if (look(archive).seen !== 'whole') found.problems.push('the archive was hurt');
  return found;
}

const damageText = (what: string, { tried, found, harmless, undetected, defects }: Damage): string =>
  `${tried} ${what}: ${found} found, ${harmless} harmless, ${undetected.length} that altered data undetected, ${defects.length} defects`;

/** `damage FLIPS CUTS KILLS SEED`. */
export async function showDamage([flips = '500', cuts = '40', kills = '15', seed = '1']: readonly string[]): Promise<boolean> {
  const found = await damaged(Number(flips), Number(cuts), Number(seed));
  for (const problem of [...found.flips.undetected, ...found.flips.defects, ...found.cuts.undetected, ...found.cuts.defects]) process.stdout.write(`  ${problem}\n`);
  process.stdout.write(`${damageText('bit flips', found.flips)}\n${damageText('truncations', found.cuts)}\n`);
  const deaths = await killDeeds(Number(kills), Number(seed));
  for (const { deed, kills: n, late, problems } of deaths) {
    process.stdout.write(`kill -9 during ${deed}: ${n}, ${late} of them after it was done, ${problems.length} problems\n`);
    for (const problem of problems) process.stdout.write(`  ${problem}\n`);
  }
  return [found.flips, found.cuts].every((one) => one.undetected.length + one.defects.length === 0) && found.cuts.harmless === 0 && deaths.every((one) => one.problems.length === 0);
}
