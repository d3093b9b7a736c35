/**
 * The power goes. One small run is traced (strace), so that every write and every sync that the real SQLite makes is known
 * with its bytes and its place among the announcements. Then disks are made as they may lie after a cut at each of these
 * places: what was synced is there; of what was not, each sector of 512 bytes is there or not, on its own, in any
 * order. Each such archive is opened as by the next host. What had been announced must be in it.
 *
 * The model of the disk: a sync of a file makes its contents, its length and its name durable; names of other files that
 * were made or removed before any sync are durable too (a journalling file system keeps them in order). The file of shared
 * memory is not kept. No sector holds anything that was not written.
 */
import { spawnSync } from 'node:child_process';
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { Chance } from './draw.ts';

const SECTOR = 512;
/** `verify` reads everything and takes its time; SQLite's own quick check is made at every opening. */
const VERIFY_EVERY = 20;

type Operation =
  | { readonly kind: 'write'; readonly file: string; readonly at: number; readonly bytes: Buffer }
  | { readonly kind: 'truncate'; readonly file: string; readonly length: number }
  | { readonly kind: 'remove'; readonly file: string }
  | { readonly kind: 'sync'; readonly file: string }
  | { readonly kind: 'announced'; readonly what: string };

export const hasTracer = (): boolean => spawnSync('strace', ['-o', '/dev/null', 'true']).status === 0;

/** Everything that one run does to its archive, in order. */
export function trace(seed: number): readonly Operation[] {
  const folder = mkdtempSync(join(tmpdir(), 'railhouse-power-'));
  try {
    const disk = join(folder, 'disk');
    mkdirSync(disk);
    const out = join(folder, 'trace');
    const child = join(import.meta.dirname, 'power-cut-child.ts');
    const calls = 'trace=pwrite64,write,fsync,fdatasync,ftruncate,unlink,unlinkat';
    const ran = spawnSync('strace', ['-y', '-xx', '-s', '4000000', '-e', calls, '-o', out, process.execPath, child, disk, String(seed)], { encoding: 'utf8' });
    if (ran.status !== 0) throw new Error(`the traced run failed: ${ran.stderr.slice(-500)}`);
    return readFileSync(out, 'latin1').split('\n').flatMap((line) => operationOf(line, disk));
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

const bytesOf = (hex: string): Buffer => Buffer.from(hex.replaceAll('\\x', ''), 'hex');

function operationOf(line: string, disk: string): Operation[] {
  const call = /^(\w+)\((?:(?:AT_FDCWD(?:<[^>]*>)?|(\d+)<([^>]*)>)(?:, )?)?(.*)\) += (-?\d+)/s.exec(line);
  if (call === null) return [];
  const [, name = '', fd, on = '', rest = '', result = '-1'] = call;
  if (Number(result) < 0) return [];
  const text = /^"((?:\\x[0-9a-f]{2})*)"(?:, (\d+))?(?:, (\d+))?/.exec(rest);
  if (name === 'write' && fd === '1') {
    const said = bytesOf(text?.[1] ?? '').toString();
    return said.startsWith('announced ') ? [{ kind: 'announced', what: said.slice('announced '.length).trim() }] : [];
  }
  if (name === 'unlink' || name === 'unlinkat') {
    const path = bytesOf(text?.[1] ?? '').toString();
    return path.startsWith(disk) ? [{ kind: 'remove', file: basename(path) }] : [];
  }
  const path = on.startsWith('\\x') ? bytesOf(on).toString() : on;
  if (!path.startsWith(disk)) return [];
  const file = path === disk ? '.' : basename(path);
  if (file.endsWith('-shm')) return [];
  switch (name) {
    case 'pwrite64':
      return [{ kind: 'write', file, at: Number(text?.[3]), bytes: bytesOf(text?.[1] ?? '') }];
    case 'ftruncate':
      return [{ kind: 'truncate', file, length: Number(rest) }];
    case 'fsync':
    case 'fdatasync':
      return [{ kind: 'sync', file }];
    default:
      throw new Error(`"${name}" on ${file}: SQLite writes in a way that is not looked for`);
  }
}

/** The contents of a file: what is durable, and what was done to it since. */
class Lying {
  durable: Buffer = Buffer.alloc(0);
  exists = false;
  pending: Exclude<Operation, { kind: 'announced' | 'sync' }>[] = [];

  settle(): void {
    this.durable = this.contents(() => true) ?? Buffer.alloc(0);
    this.pending = [];
  }

  /** Whatever was synced, names that were removed before it are gone for good. */
  settleName(): void {
    const last = this.pending.findLastIndex((one) => one.kind === 'remove');
    if (last < 0) return;
    this.durable = Buffer.alloc(0);
    this.exists = false;
    this.pending = this.pending.slice(last + 1);
  }

  /** As it lies after a cut; null: it is not there. `kept`: is the next sector, or change of length or name, there? */
  contents(kept: () => boolean): Buffer | null {
    let bytes: Buffer = Buffer.from(this.durable);
    let there = this.exists;
    const reach = (length: number): void => {
      if (bytes.length < length) bytes = Buffer.concat([bytes, Buffer.alloc(length - bytes.length)]);
    };
    for (const one of this.pending) {
      if (one.kind === 'remove') {
        if (kept()) {
          bytes = Buffer.alloc(0);
          there = false;
        }
      } else if (one.kind === 'truncate') {
        if (!kept()) continue;
        reach(one.length);
        bytes = bytes.subarray(0, one.length);
      } else {
        // Sectors of the disk, not of the write: a write that begins in the middle of one changes a part of it.
        for (let from = one.at; from < one.at + one.bytes.length; ) {
          const to = Math.min(one.at + one.bytes.length, (Math.floor(from / SECTOR) + 1) * SECTOR);
          if (kept()) {
            there = true;
            reach(to);
            one.bytes.copy(bytes, from, from - one.at, to - one.at);
          }
          from = to;
        }
      }
    }
    return there ? bytes : null;
  }
}

/** What a cut leaves of what was not synced. */
const losses: readonly { readonly name: string; readonly kept: (chance: Chance) => () => boolean }[] = [
  { name: 'all of it lost', kept: () => () => false },
  { name: 'half of its sectors', kept: (chance) => () => chance.strikes(0.5) },
  { name: 'nearly all of it', kept: (chance) => () => chance.strikes(0.95) },
  { name: 'all of it kept', kept: () => () => true },
];

export interface PowerFindings {
  readonly operations: number;
  readonly syncs: number;
  readonly announced: number;
  states: number;
  readonly problems: string[];
}

/** Cuts the power after every operation, `rounds` times with other chances; `every` n: after every n-th only. */
export function cutPower(operations: readonly Operation[], rounds: number, every = 1, mostProblems = 5): PowerFindings {
  const folder = scratchFolder();
  const chance = new Chance(1, 'cuts');
  const files = new Map<string, Lying>();
  const announced: string[] = [];
  const found: PowerFindings = {
    operations: operations.length, syncs: operations.filter((one) => one.kind === 'sync').length,
    announced: operations.filter((one) => one.kind === 'announced').length, states: 0, problems: [],
  };
  const fileAt = (name: string): Lying => {
    let file = files.get(name);
    if (file === undefined) files.set(name, (file = new Lying()));
    return file;
  };
  try {
    for (const [i, one] of operations.entries()) {
      switch (one.kind) {
        case 'announced':
          announced.push(one.what);
          break;
        case 'sync':
          for (const file of files.values()) file.settleName();
          if (one.file !== '.') {
            const file = fileAt(one.file);
            file.exists ||= file.pending.some((change) => change.kind === 'write');
            file.settle();
          }
          break;
        default:
          fileAt(one.file).pending.push(one);
      }
      if (i % every !== 0) continue;
      for (let round = 0; round < rounds; round += 1) {
        for (const { name, kept } of losses) {
          // With nothing under way every loss is the same.
          if (name !== 'all of it lost' && ![...files.values()].some((file) => file.pending.length > 0)) continue;
          if (round > 0 && !name.includes('sectors') && !name.includes('nearly')) continue;
          found.states += 1;
          const problem = afterCut(folder, files, kept(chance), announced, found.states % VERIFY_EVERY === 0);
          if (problem !== null) found.problems.push(`cut after operation ${i} (${one.kind}), ${name}: ${problem}`);
          if (found.problems.length >= mostProblems) return found;
        }
      }
    }
    return found;
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}

function afterCut(folder: string, files: ReadonlyMap<string, Lying>, kept: () => boolean, announced: readonly string[], verify: boolean): string | null {
  const disk = mkdtempSync(join(folder, 'disk-'));
  try {
    for (const [name, file] of files) {
      const bytes = file.contents(kept);
      if (bytes !== null && !name.endsWith('.lock')) writeFileSync(join(disk, name), bytes);
    }
    const opened = openArchive(join(disk, 'archive.sqlite'), { now: () => unixMillis(0), entropy: machineEntropy });
    if (!opened.ok) return opened.text;
    const { archive } = opened;
    try {
      const run = archive.latestRun();
      if (run === null) return announced.length === 0 ? null : 'the run is lost';
      const there = new Set(archive.attempts(run.id, { limit: 10_000 }).flatMap((one) => (one.verdict === 'accepted' ? [`${one.point}:${one.attempt}`] : [])));
      const lost = announced.filter((what) => !there.has(what));
      if (lost.length > 0) return `announced and lost: ${lost.join(', ')}`;
      return verify ? (archive.verify().checks.find((check) => !check.passed)?.text ?? null) : null;
    } finally {
      archive.close();
    }
  } finally {
    rmSync(disk, { recursive: true, force: true });
  }
}

export function powerText({ operations, syncs, announced, states, problems }: PowerFindings): string {
  return `${operations} operations, ${syncs} syncs, ${announced} announced; ${states} states after a cut, ${problems.length} problems`;
}

/** `power-cut ROUNDS SEED`. */
export function showPowerCut([rounds = '1', seed = '1']: readonly string[]): Promise<boolean> {
  if (!hasTracer()) {
    process.stdout.write('SKIPPED: the power cut needs the program strace (Debian package strace) and leave to trace.\n');
    return Promise.resolve(true);
  }
  const found = cutPower(trace(Number(seed)), Number(rounds));
  for (const problem of found.problems) process.stdout.write(`  ${problem}\n`);
  process.stdout.write(`${powerText(found)}\n`);
  return Promise.resolve(found.problems.length === 0);
}
