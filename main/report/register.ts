/**
 * The register of a book of reports: a text file that is only added to, each line with a hash over the one before it. A last line that was cut off, because program
 * or machine ended while it was written, is no change of the register: it is told apart and set aside. REP-26, REP-35.
 */
import { closeSync, existsSync, fsyncSync, ftruncateSync, openSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { sha256Of } from './seal.ts';

const registerName = 'register.txt';

/** A line of the register. */
export interface RegisteredReport {
  readonly number: string;
  /** SHA-256 of the body, as its seal has it. */
  readonly sha256: string;
  readonly at: string;
  readonly runId: string;
  /** The number that it takes the place of; null: none. */
  readonly amends: string | null;
  /** Who released it; null: from before this was entered. */
  readonly by: string | null;
}

export interface Register {
  readonly reports: readonly RegisteredReport[];
  /** The hash of the last line. */
  readonly last: string;
  /** Bytes up to the end of the last whole line. */
  readonly size: number;
  /** What stands behind it: a line that was cut off. */
  readonly torn: Buffer;
}

export type BookResult<T> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly text: string };
export const bookRefused = (text: string): { readonly ok: false; readonly text: string } => ({ ok: false, text });

const registerStart = sha256Of('railhouse register of reports 1');
const fieldsOf = ({ number, sha256, at, runId, amends, by }: RegisteredReport): string => [number, sha256, at, runId, amends ?? '-', ...(by === null ? [] : [encodeURIComponent(by)])].join(' ');
const chained = (before: string, fields: string): string => sha256Of(`${before} ${fields}`);
const linePattern = /^(\S+) (\S+) (\S+) (\S+) (\S+)(?: (\S+))? ([0-9a-f]{64})$/u;

/** The report of a whole line that follows `before`; null: it is none. */
function inLine(line: string, before: string): { readonly report: RegisteredReport; readonly hash: string } | null {
  const [, number = '', sha256 = '', at = '', runId = '', amends = '', by, hash = ''] = linePattern.exec(line) ?? [];
  if (hash === '' || chained(before, line.slice(0, -hash.length - 1)) !== hash) return null;
  return { report: { number, sha256, at, runId, amends: amends === '-' ? null : amends, by: by === undefined ? null : decodeURIComponent(by) }, hash };
}

/** Everything that was issued, in order; a register that was changed is refused. */
export function readRegister(book: string): BookResult<Register> {
  const path = join(book, registerName);
  const data = existsSync(path) ? readFileSync(path) : Buffer.alloc(0);
  const reports: RegisteredReport[] = [];
  let last = registerStart;
  let size = 0;
  while (size < data.length) {
    const end = data.indexOf(0x0a, size);
    const line = data.subarray(size, end < 0 ? data.length : end);
    const read = inLine(line.toString('utf8'), last);
    if (read === null || end < 0) {
      // Without its end, or with the zeros that a file system leaves where it could not finish, as the last: it was cut off.
      const following = end < 0 ? -1 : data.indexOf(0x0a, end + 1);
      if (end < 0 || (line.includes(0) && following < 0)) break;
      return bookRefused(`Line ${reports.length + 1} of ${path} was changed, or one before it was: the register does not hold. Nothing was issued. Put back a copy of the register from a backup.`);
    }
    reports.push(read.report);
    last = read.hash;
    size = end + 1;
  }
  return { ok: true, value: { reports, last, size, torn: data.subarray(size) } };
}

/** Adds a line, and has it on the disk when it returns; where it cannot, the register is as it was as far as the disk lets it. */
export function enterReport(book: string, { reports, last, size }: Register, report: RegisteredReport): Register {
  const fields = fieldsOf(report);
  const hash = chained(last, fields);
  const line = Buffer.from(`${fields} ${hash}\n`, 'utf8');
  const file = openSync(join(book, registerName), 'a', 0o600);
  try {
    writeFileSync(file, line);
    fsyncSync(file);
  } catch (error) {
    ftruncateSync(file, size);
    throw error;
  } finally {
    closeSync(file);
  }
  return { reports: [...reports, report], last: hash, size: size + line.length, torn: Buffer.alloc(0) };
}

/** On the disk when it returns. */
export function writeDurably(path: string, data: string | Buffer): void {
  const file = openSync(path, 'w', 0o600);
  try {
    writeFileSync(file, data);
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
}

/** Takes a line that was cut off out of the register, into a file of its own; returns the file. */
export function setTornAside(book: string, { size, torn }: Register): string {
  const aside = join(book, `register-cut-off-${sha256Of(torn).slice(0, 8)}.txt`);
  writeDurably(aside, torn);
  const file = openSync(join(book, registerName), 'r+');
  try {
    ftruncateSync(file, size);
    fsyncSync(file);
  } finally {
    closeSync(file);
  }
  return aside;
}
