/**
 * The book of issued reports: a folder with the key that they are signed with, a register in which each line has a hash over the one before
 * it, and a folder for each report. Nothing in it is ever changed. REP-21, REP-23, REP-26.
 */
import { appendFileSync, chmodSync, closeSync, existsSync, fsyncSync, mkdirSync, openSync, readFileSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { z } from 'zod';
import { oneLine } from '../../app/boundary/text.ts';
import { makeHeadKey, readHeadKey, type HeadKey } from '../archive/heads-file.ts';
import { sha256Of } from './seal.ts';

const keyName = 'report-key.pem';
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
}

const lineSchema = z.tuple([z.string(), z.string(), z.string(), z.string(), z.string(), z.string()]);

const chained = (before: string, { number, sha256, at, runId, amends }: RegisteredReport): string => sha256Of(`${before} ${number} ${sha256} ${at} ${runId} ${amends ?? '-'}`);
const registerStart = sha256Of('railhouse register of reports 1');

type BookResult<T> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly text: string };
const refused = (text: string): { readonly ok: false; readonly text: string } => ({ ok: false, text });

/** Everything that was issued, in order; a register that was changed is refused. */
export function registeredReports(book: string): BookResult<{ readonly reports: readonly RegisteredReport[]; readonly last: string }> {
  const path = join(book, registerName);
  if (!existsSync(path)) return { ok: true, value: { reports: [], last: registerStart } };
  const reports: RegisteredReport[] = [];
  let last = registerStart;
  for (const [i, line] of readFileSync(path, 'utf8').split('\n').entries()) {
    if (line === '') continue;
    const parsed = lineSchema.safeParse(line.split(' '));
    const [number, sha256, at, runId, amends, hash] = parsed.success ? parsed.data : ['', '', '', '', '-', ''];
    const report: RegisteredReport = { number, sha256, at, runId, amends: amends === '-' ? null : amends };
    if (!parsed.success || chained(last, report) !== hash) return refused(`Line ${i + 1} of ${path} was changed, or one before it was: the register does not hold. Nothing was issued. Put back a copy of the register from a backup.`);
    reports.push(report);
    last = hash;
  }
  return { ok: true, value: { reports, last } };
}

/** The key of the book; made when there is none. Refused where others may read it. */
function keyOf(book: string): HeadKey {
  const path = join(book, keyName);
  const there = statSync(path, { throwIfNoEntry: false });
  if (there === undefined) return makeHeadKey(path);
  // Windows keeps rights elsewhere; its mode says nothing.
  if (process.platform !== 'win32' && (there.mode & 0o077) !== 0) {
    return refused(`The key ${path} may be read by others than its owner, so whoever has an account here could sign reports. Nothing was issued. Make a new key on a machine that you trust if somebody may have had it, else: chmod 600 ${path}`);
  }
  return readHeadKey(path);
}

interface ReportFiles {
  /** SHA-256 of the body. */
  readonly sha256: string;
  readonly files: readonly { readonly name: string; readonly data: string | Buffer }[];
}

export interface IssueToBook {
  readonly runId: string;
  /** ISO 8601. */
  readonly at: string;
  /** A number of the book, where the report takes another's place. */
  readonly amends: string | null;
  /** Makes what is issued. `folder` is the report's own, for files that another program writes. */
  readonly make: (issued: { readonly number: string; readonly key: Extract<HeadKey, { ok: true }>; readonly amended: RegisteredReport | null; readonly folder: string }) => Promise<BookResult<ReportFiles>>;
}

const CHARACTERS_OF_RUN = 200;

/** Numbers, makes and enters a report; or says why not, and then nothing was issued. */
export async function issueInBook(book: string, { runId, at, amends, make }: IssueToBook): Promise<BookResult<{ readonly number: string; readonly folder: string; readonly publicKey: string }>> {
  if (!oneLine(CHARACTERS_OF_RUN).safeParse(runId).success || runId.includes(' ')) return refused(`${runId} is no id of a run.`);
  let lock: number;
  const lockPath = join(book, 'issuing.lock');
  try {
    mkdirSync(book, { recursive: true, mode: 0o700 });
    lock = openSync(lockPath, 'wx', 0o600);
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code === 'EEXIST') return refused(`Another program is issuing a report in ${book}, or ended while it did. Nothing was issued. Try again; if none is at work any more, remove ${lockPath}.`);
    return refused(`The book of reports ${book} cannot be written (${(error as Error).message}). Nothing was issued. Choose another folder with --book.`);
  }
  try {
    return await issueLocked(book, { runId, at, amends, make });
  } catch (error) {
    // Only what the disk says: what `make` cannot do it answers.
    if ((error as NodeJS.ErrnoException).code === undefined) throw error;
    return refused(`The book of reports ${book} cannot be written (${(error as Error).message}). Nothing was issued; a number may be left out.`);
  } finally {
    closeSync(lock);
    rmSync(lockPath, { force: true });
  }
}

async function issueLocked(book: string, { runId, at, amends, make }: IssueToBook): Promise<BookResult<{ readonly number: string; readonly folder: string; readonly publicKey: string }>> {
  const register = registeredReports(book);
  if (!register.ok) return register;
  const { reports, last } = register.value;
  const amended = amends === null ? null : (reports.find((r) => r.number === amends) ?? null);
  if (amends !== null && amended === null) return refused(`There is no report ${amends} in ${book}, so it cannot be amended. Nothing was issued.`);
  const later = reports.find((r) => amends !== null && r.amends === amends);
  if (later !== undefined) return refused(`Report ${amends ?? ''} was amended by ${later.number} already. Nothing was issued. Amend that one.`);
  const key = keyOf(book);
  if (!key.ok) return key;
  const { number, folder } = nextNumber(book, at.slice(0, 4));
  let done = false;
  try {
    const made = await make({ number, key, amended, folder });
    if (!made.ok) return made;
    for (const { name, data } of made.value.files) {
      const path = join(folder, name);
      writeFileSync(path, data);
      chmodSync(path, 0o444);
    }
    const line: RegisteredReport = { number, sha256: made.value.sha256, at, runId, amends };
    const path = join(book, registerName);
    appendFileSync(path, `${line.number} ${line.sha256} ${line.at} ${line.runId} ${line.amends ?? '-'} ${chained(last, line)}\n`, { mode: 0o600 });
    done = true;
    const written = openSync(path, 'r+');
    fsyncSync(written);
    closeSync(written);
    return { ok: true, value: { number, folder, publicKey: key.publicKey } };
  } finally {
    if (!done) rmSync(folder, { recursive: true, force: true });
  }
}

/** The next number of a year that no folder has; makes its folder. */
function nextNumber(book: string, year: string): { readonly number: string; readonly folder: string } {
  for (let n = 1; ; n += 1) {
    const number = `R-${year}-${String(n).padStart(4, '0')}`;
    const folder = join(book, number);
    try {
      mkdirSync(folder);
      return { number, folder };
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
    }
  }
}
