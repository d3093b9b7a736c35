/** Issued reports for windows: listed, issued, time-stamped and proved, where the heartbeat does not wait for it. REP-40 to REP-43. */
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { samePerson } from '../../app/report/same-person.ts';
import { noDetails } from '../../app/report/details.ts';
import type { Archive } from '../archive/archive.ts';
import { publicHeadKey } from '../archive/heads-file.ts';
import type { Entropy } from '../clock/entropy.ts';
import { bookBeside, publicKeyOf, sealedName } from '../report/book.ts';
import { issueReport, proveAgainst } from '../report/issue.ts';
import { releaseName, releaseSentence } from '../report/issuers.ts';
import type { PdfPrinter } from '../report/pdf.ts';
import { readRegister, type RegisteredReport } from '../report/register.ts';
import { checkReport, sha256Of, type CheckedReport } from '../report/seal.ts';
import { authoritiesOf, checkStamp, keepStamp, stampBeside, stampState, writeStampRequest } from '../report/stamp-files.ts';

type Done<T> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly code: 'no-run' | 'refused'; readonly text: string };
const refused = (text: string): { readonly ok: false; readonly code: 'refused'; readonly text: string } => ({ ok: false, code: 'refused', text });

const MOST_LISTED = 500;

const fileOf = (book: string, number: string): string => join(book, number, sealedName);

export function listedReports(archive: Archive): AnswerTo<'reports.list'> {
  const book = bookBeside(archive.path);
  const register = readRegister(book);
  const about = { book, publicKey: publicKeyOf(book) };
  if (!register.ok) return { ...about, problem: register.text, reports: [] };
  const { reports, torn } = register.value;
  const amendedBy = new Map(reports.flatMap(({ amends, number }) => (amends === null ? [] : [[amends, number]])));
  return {
    ...about,
    problem: torn.length === 0 ? '' : 'A program or the machine ended while the last report was being entered. The list is whole up to there; the next report that is issued mends the register first.',
    reports: reports.slice(-MOST_LISTED).reverse().map(({ number, at, runId, by, amends }) => ({ number, at, runId, by, amends, amendedBy: amendedBy.get(number) ?? null, stamp: stampState(fileOf(book, number)) })),
  };
}

/** The report of a number; a text: there is none. */
function registered(book: string, number: string): RegisteredReport | string {
  const register = readRegister(book);
  if (!register.ok) return register.text;
  return register.value.reports.find((r) => r.number === number) ?? `There is no report ${number} in ${book}. Load the list again.`;
}

export async function issueForWindow(archive: Archive, { id, length, paper, details, by, measuredToo, amends }: ParsedParams<'report.issue'>, at: string, print: PdfPrinter): Promise<Done<AnswerTo<'report.issue'>>> {
  const run = archive.run(id);
  if (run === null) return { ok: false, code: 'no-run', text: `There is no run ${id} in ${archive.path}. List the runs and choose one.` };
  if (samePerson(by, run.operator) && !measuredToo) {
    return refused(`${by} measured this run. A report is released by somebody else, or says that both are the same person. Nothing was issued. Let somebody else release it, or say that it is the same person.`);
  }
  const issued = await issueReport({ archive, runId: id, details: details ?? noDetails, length, paper, by, key: null, at, amends, book: bookBeside(archive.path), print });
  if (!issued.ok) return refused(issued.text);
  const { number, folder, publicKey, notPrinted, mended } = issued;
  return { ok: true, value: { number, folder, publicKey, said: [...mended, ...(notPrinted === '' ? [] : [notPrinted])] } };
}

/** The text of an issued report, as it lies in the book. */
export function issuedText(archive: Archive, number: string): Done<string> {
  const book = bookBeside(archive.path);
  const found = registered(book, number);
  if (typeof found === 'string') return refused(found);
  try {
    return { ok: true, value: readFileSync(fileOf(book, number), 'utf8') };
  } catch (error) {
    return refused(`The file of report ${number} cannot be read (${(error as Error).message}). Put it back from a backup.`);
  }
}

export function stampForWindow(archive: Archive, { number, answer }: ParsedParams<'report.stamp'>, entropy: Entropy): Done<AnswerTo<'report.stamp'>> {
  const book = bookBeside(archive.path);
  const found = registered(book, number);
  if (typeof found === 'string') return refused(found);
  const file = fileOf(book, number);
  if (answer === null) {
    const written = writeStampRequest(file, entropy, null);
    if (!written.ok) return refused(written.text);
    return { ok: true, value: { request: written.value.data.toString('base64'), said: [`The request for a time stamp of the SHA-256 ${written.value.sha256}. Carry it to a time-stamp authority (RFC 3161), and give its answer here.`] } };
  }
  const given = authoritiesOf(book);
  const kept = given.ok ? keepStamp(file, Buffer.from(answer, 'base64'), given.value) : given;
  return kept.ok ? { ok: true, value: { request: null, said: [...kept.value.sentences] } } : refused(kept.text);
}

/** What an issued report says of itself, of its time stamp, and of this archive and its book. */
export function proveForWindow(archive: Archive, text: string, { publicKey, stamp, against }: Omit<ParsedParams<'report.prove'>, 'upload'>): AnswerTo<'report.prove'> {
  if (publicKey !== undefined && publicHeadKey(publicKey) === null) return { holds: false, said: ['What was given as the public key is none: it has 43 letters and digits. Nothing was checked.'] };
  const data = Buffer.from(text, 'utf8');
  const checked = checkReport(data, publicKey ?? null);
  if (!checked.holds) return { holds: false, said: [checked.text] };
  const { inside, seal } = checked;
  const said = [
    `Report ${seal.number} is as it was issued by ${inside.issue.by} on ${inside.issue.at}.`,
    publicKey === undefined ? `Sealed with the key ${seal.publicKey}. Compare it with the one that the laboratory gave: anybody can seal a report with a key of his own.` : 'Sealed with the key that was given.',
    ...(inside.issue.amends === null ? [] : [`It takes the place of report ${inside.issue.amends.number}. Reason: ${inside.issue.amends.reason}`]),
  ];
  const book = bookBeside(archive.path);
  const mine = fileOf(book, seal.number);
  const release = join(book, seal.number, releaseName);
  const released = releaseSentence(against && existsSync(release) ? readFileSync(release, 'utf8') : null, { number: seal.number, sha256: sha256Of(data), by: inside.issue.by, byKey: inside.issue.byKey });
  said.push(released.text);
  if (!released.holds) return { holds: false, said };
  // That of the book, where the report is of this book.
  const bytes = stamp !== undefined ? Buffer.from(stamp, 'base64') : against && stampState(mine) === 'kept' ? readFileSync(stampBeside(mine)) : null;
  if (bytes !== null) {
    const given = authoritiesOf(book);
    const stamped = given.ok ? checkStamp(mine, bytes, { sha256: sha256Of(data), issued: inside.issue.at }, given.value) : given;
    if (!stamped.ok) return { holds: false, said: [...said, stamped.text] };
    said.push(...stamped.value.sentences);
  }
  return against ? proveInBook(archive, checked, said) : { holds: true, said };
}

/** Against the book of this archive, and worked out anew. `said`: what was said before. */
function proveInBook(archive: Archive, checked: Extract<CheckedReport, { holds: true }>, said: readonly string[]): AnswerTo<'report.prove'> {
  const { number, body } = checked.seal;
  const register = readRegister(bookBeside(archive.path));
  if (!register.ok) return { holds: false, said: [...said, register.text] };
  const { reports } = register.value;
  if (!reports.some((r) => r.number === number && r.sha256 === body)) return { holds: false, said: [...said, `The register of this archive has no such report ${number}: it was issued elsewhere, or by somebody else.`] };
  const later = reports.find((r) => r.amends === number);
  const proved = proveAgainst(archive, checked);
  return { holds: proved.holds, said: [...said, later === undefined ? 'The register has it, and no report took its place.' : `The register has it. Report ${later.number} TOOK ITS PLACE on ${later.at}.`, proved.text] };
}
