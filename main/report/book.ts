/**
 * The book of issued reports: a folder with the key that they are signed with, the register (register.ts), and a folder for each report. Nothing in it is ever
 * changed. REP-21, REP-23, REP-26, REP-35.
 */
import { chmodSync, closeSync, existsSync, fsyncSync, linkSync, mkdirSync, openSync, readdirSync, readFileSync, renameSync, rmSync, statSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { oneLine } from '../../app/boundary/text.ts';
import { makeHeadKey, readHeadKey, type HeadKey } from '../archive/heads-file.ts';
import { isProcessThere, machineName } from '../ending/process-there.ts';
import { bookRefused, enterReport, readRegister, setTornAside, writeDurably, type BookResult, type Register, type RegisteredReport } from './register.ts';
import { checkReport } from './seal.ts';

/** Where the book of an archive lies, unless somebody names another place. */
export const bookBeside = (archivePath: string): string => join(dirname(archivePath), 'reports');

const keyName = 'report-key.pem';
/** Written last of a report's files: where it is whole, the report is. */
export const sealedName = 'report.html';

type ReadKey = Extract<HeadKey, { ok: true }>;

/** The key of the book; made when there is none. Refused where others may read it. */
function keyOf(book: string): HeadKey {
  const path = join(book, keyName);
  const there = statSync(path, { throwIfNoEntry: false });
  if (there === undefined) return makeHeadKey(path);
  // Windows keeps rights elsewhere; its mode says nothing.
  if (process.platform !== 'win32' && (there.mode & 0o077) !== 0) {
    return bookRefused(`The key ${path} may be read by others than its owner, so whoever has an account here could sign reports. Nothing was issued. Make a new key on a machine that you trust if somebody may have had it, else: chmod 600 ${path}`);
  }
  return readHeadKey(path);
}

/** The public key of a book; null: it has none yet, or one that cannot be read. */
export function publicKeyOf(book: string): string | null {
  if (!existsSync(join(book, keyName))) return null;
  const key = readHeadKey(join(book, keyName));
  return key.ok ? key.publicKey : null;
}

interface ReportFiles {
  /** SHA-256 of the body. */
  readonly sha256: string;
  /** The sealed one last. */
  readonly files: readonly { readonly name: string; readonly data: string | Buffer }[];
}

export interface IssueToBook {
  readonly runId: string;
  /** ISO 8601. */
  readonly at: string;
  readonly by: string;
  /** A number of the book, where the report takes another's place. */
  readonly amends: string | null;
  /** Makes what is issued. `folder` is the report's own, for files that another program writes. */
  readonly make: (issued: { readonly number: string; readonly key: ReadKey; readonly amended: RegisteredReport | null; readonly folder: string }) => Promise<BookResult<ReportFiles>>;
}

export interface EnteredReport {
  readonly number: string;
  readonly folder: string;
  readonly publicKey: string;
  /** What was found and mended before, in sentences. */
  readonly mended: readonly string[];
}

const CHARACTERS_OF_RUN = 200;

/** Numbers, makes and enters a report; or says why not, and then nothing was issued. */
export async function issueInBook(book: string, order: IssueToBook): Promise<BookResult<EnteredReport>> {
  const { runId } = order;
  if (!oneLine(CHARACTERS_OF_RUN).safeParse(runId).success || runId.includes(' ')) return bookRefused(`${runId} is no id of a run.`);
  const lockPath = join(book, 'issuing.lock');
  try {
    mkdirSync(book, { recursive: true, mode: 0o700 });
    if (!lock(lockPath)) return bookRefused(`Another program is issuing a report in ${book}, or ended while it did on another machine. Nothing was issued. Try again; if none is at work any more, remove ${lockPath}.`);
  } catch (error) {
    return bookRefused(`The book of reports ${book} cannot be written (${(error as Error).message}). Nothing was issued. Choose another folder with --book.`);
  }
  try {
    return await issueLocked(book, order);
  } catch (error) {
    // Only what the disk says: what `make` cannot do it answers.
    if ((error as NodeJS.ErrnoException).code === undefined) throw error;
    return bookRefused(`The book of reports ${book} cannot be written (${(error as Error).message}). Nothing was issued; a number may be left out.`);
  } finally {
    rmSync(lockPath, { force: true });
  }
}

/** false: another holds it. The lock of a process of this machine that is not there any more is taken over. */
function lock(path: string, again = true): boolean {
  const mine = `${machineName()} ${process.pid}\n`;
  const own = `${path}.${process.pid}`;
  writeFileSync(own, mine, { mode: 0o600 });
  try {
    // So it is never there without saying whose it is.
    linkSync(own, path);
    return true;
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
  } finally {
    rmSync(own, { force: true });
  }
  const held = readFileSync(path, 'utf8');
  const [machine, pid = ''] = held.trim().split(' ');
  if (!again || machine !== machineName() || !/^\d+$/u.test(pid) || isProcessThere(Number(pid))) return false;
  const taken = `${path}.taken-${process.pid}`;
  renameSync(path, taken);
  // Somebody else may have taken it over in between.
  const same = readFileSync(taken, 'utf8') === held;
  if (same) rmSync(taken);
  else renameSync(taken, path);
  return same && lock(path, false);
}

async function issueLocked(book: string, { runId, at, by, amends, make }: IssueToBook): Promise<BookResult<EnteredReport>> {
  const key = keyOf(book);
  if (!key.ok) return key;
  const mended = mend(book, key);
  if (!mended.ok) return mended;
  const { register, said, entered } = mended.value;
  if (entered) return bookRefused(`${said.join(' ')} Nothing else was issued. Ask again if another report is wanted.`);
  const { reports } = register;
  const amended = amends === null ? null : (reports.find((r) => r.number === amends) ?? null);
  if (amends !== null && amended === null) return bookRefused(`There is no report ${amends} in ${book}, so it cannot be amended. Nothing was issued.`);
  const later = reports.find((r) => amends !== null && r.amends === amends);
  if (later !== undefined) return bookRefused(`Report ${amends ?? ''} was amended by ${later.number} already. Nothing was issued. Amend that one.`);
  const { number, folder } = nextNumber(book, at.slice(0, 4), reports);
  let done = false;
  try {
    const made = await make({ number, key, amended, folder });
    if (!made.ok) return made;
    for (const { name, data } of made.value.files) writeForGood(join(folder, name), data);
    syncFolder(folder);
    enterReport(book, register, { number, sha256: made.value.sha256, at, runId, amends, by });
    done = true;
    return { ok: true, value: { number, folder, publicKey: key.publicKey, mended: said } };
  } finally {
    if (!done) rmSync(folder, { recursive: true, force: true });
  }
}

/** On the disk when it returns, and nobody's to write to. */
function writeForGood(path: string, data: string | Buffer): void {
  writeDurably(path, data);
  chmodSync(path, 0o444);
}

function syncFolder(path: string): void {
  // Windows has no such thing for a folder.
  if (process.platform === 'win32') return;
  const folder = openSync(path, 'r');
  try {
    fsyncSync(folder);
  } finally {
    closeSync(folder);
  }
}

const numbered = /^R-(\d{4})-(\d{4,9})$/u;

const foldersIn = (book: string): readonly string[] => readdirSync(book).filter((name) => numbered.test(name)).sort((a, b) => a.length - b.length || (a < b ? -1 : 1));

/** The number after all that a year has had, in the register or as a folder; makes its folder. */
function nextNumber(book: string, year: string, reports: readonly RegisteredReport[]): { readonly number: string; readonly folder: string } {
  const had = [...foldersIn(book), ...reports.map((r) => r.number)].map((name) => numbered.exec(name)).filter((found) => found?.[1] === year).map((found) => Number(found?.[2]));
  const number = `R-${year}-${String(had.reduce((a, b) => Math.max(a, b), 0) + 1).padStart(4, '0')}`;
  const folder = join(book, number);
  mkdirSync(folder);
  return { number, folder };
}

const NOT_ISSUED = 'not-issued.txt';

/**
 * What a program left behind that ended while it issued. A line that was cut off is set aside. A report that is whole and sealed and not in the register was about to be
 * entered: it is, for somebody may have it. A number that was written and has no report stays taken.
 */
function mend(book: string, { publicKey }: ReadKey): BookResult<{ readonly register: Register; readonly said: readonly string[]; readonly entered: boolean }> {
  const read = readRegister(book);
  if (!read.ok) return read;
  let register = read.value;
  const said: string[] = [];
  if (register.torn.length > 0) {
    const [cut = ''] = register.torn.toString('latin1').split(' ');
    const aside = setTornAside(book, register);
    said.push(`The last line of the register had been cut off when a program or the machine ended; it is set aside in ${aside}, and the register goes on after its last whole line.`);
    register = { ...register, torn: Buffer.alloc(0) };
    if (numbered.test(cut) && !existsSync(join(book, cut)) && !register.reports.some((r) => r.number === cut)) {
      mkdirSync(join(book, cut));
      writeForGood(join(book, cut, NOT_ISSUED), `Report ${cut} was not issued: a program ended while it was being entered. Its number is not given again.\n`);
    }
  }
  let entered = false;
  for (const number of foldersIn(book)) {
    const file = join(book, number, sealedName);
    if (register.reports.some((r) => r.number === number) || !existsSync(file)) continue;
    const checked = checkReport(readFileSync(file), publicKey);
    if (!checked.holds || checked.seal.number !== number) continue;
    const { issue, basis } = checked.inside;
    register = enterReport(book, register, { number, sha256: checked.seal.body, at: issue.at, runId: basis.runId, amends: issue.amends?.number ?? null, by: issue.by });
    said.push(`Report ${number} of run ${basis.runId} was whole and signed, and a program had ended before it was entered: it is entered now, and so it is issued.`);
    entered = true;
  }
  return { ok: true, value: { register, said, entered } };
}
