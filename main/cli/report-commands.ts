/** Reports: drafts, issued ones, and the proof of one. */
import type { X509Certificate } from 'node:crypto';
import { existsSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { oneLinePattern } from '../../app/boundary/text.ts';
import { samePerson } from '../../app/report/same-person.ts';
import { keptDetails, noDetails, type ReportDetails } from '../../app/report/details.ts';
import { reportLengths, type ReportLength } from '../../app/report/document.ts';
import { papers, type Paper } from '../../app/report/style.ts';
import type { Archive } from '../archive/archive.ts';
import { publicHeadKey } from '../archive/heads-file.ts';
import { makeFolder } from '../archive/make-folder.ts';
import { isoTime } from '../clock/dating.ts';
import { machineClock, machineEntropy } from '../clock/machine.ts';
import { bookBeside } from '../report/book.ts';
import { readRegister } from '../report/register.ts';
import { draftFiles } from '../report/draft.ts';
import { issueReport, proveAgainst } from '../report/issue.ts';
import { readPersonalKey, releaseName, releaseSentence } from '../report/issuers.ts';
import { chromiumPrinter } from '../report/pdf.ts';
import { checkListed, checkReport, sha256Of } from '../report/seal.ts';
import { reportInArchive } from '../report/source.ts';
import { certificatesIn, checkStamp, keepStamp, stampBeside, writeStampRequest, type KeptStamp } from '../report/stamp-files.ts';
import { chosenRun } from './chosen-run.ts';
import { commandLine } from './command-line.ts';
import { reportDetailsFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { withArchive } from './result-commands.ts';
import { say, tell } from './say.ts';
import { Stop } from './stop.ts';

interface ReportOptions {
  readonly archive: string;
  readonly length: ReportLength;
  readonly paper: Paper;
  readonly details?: string;
  readonly detailsOf?: string;
  readonly json?: true;
}

/** What a draft and an issued report are made with. */
const withReportOptions = (command: Command): Command =>
  command
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--length <length>', 'one page, full, or full with the raw data').choices(reportLengths).default('full'))
    .addOption(new Option('--paper <size>', 'of the PDF; the HTML file prints on either').choices(Object.keys(papers)).default('a4'))
    .addOption(new Option('--details <file>', 'laboratory, customer, condition of the items, limits and decision rule (main/samples/report-details.json shows how)').conflicts('detailsOf'))
    .addOption(new Option('--details-of <name>', 'in the place of --details: those that the archive keeps under this name (page Reports)'));

/** Those of the file, or those that the archive keeps under the name; without either none. CLI-65 */
function detailsAsked(archive: Archive, { details: file, detailsOf: name }: ReportOptions): ReportDetails {
  if (file !== undefined) return reportDetailsFile(file);
  if (name === undefined) return noDetails;
  const kept = archive.records.latest('report details');
  const found = kept.find((one) => one.name === name);
  if (found === undefined) throw new Stop(exitCode.badInput, `The archive keeps no details of reports under the name ${name}${kept.length === 0 ? '; it keeps none at all' : `: ${kept.map((one) => one.name).join(', ')}`}. Nothing was written.`);
  const details = keptDetails(found.document);
  if (details === null) throw new Stop(exitCode.badInput, `Version ${found.version} of the details ${name} cannot be used by this version of the program. Nothing was written.`);
  return details;
}

function draft(named: string | undefined, options: ReportOptions & { readonly to: string }): Promise<void> {
  return withArchive(options.archive, async (archive) => {
    const runId = chosenRun(archive, named);
    const details = detailsAsked(archive, options);
    const found = reportInArchive(archive, { runId, details, length: options.length, issue: null });
    if (!found.ok) throw new Stop(exitCode.badInput, found.text);
    const folder = resolve(options.to);
    const drafts = draftFiles(found.document);
    const pdf = join(folder, 'report.pdf');
    const files: string[] = [];
    try {
      makeFolder(folder);
      // An earlier one would be of another report.
      rmSync(pdf, { force: true });
      for (const { name, text } of drafts) {
        writeFileSync(join(folder, `${name}.part`), text);
        renameSync(join(folder, `${name}.part`), join(folder, name));
        files.push(join(folder, name));
      }
    } catch (error) {
      throw new Stop(exitCode.badInput, `The report cannot be written into ${folder} (${(error as Error).message}). The archive is not touched. Choose another folder with --to.`);
    }
    const printed = await chromiumPrinter()(drafts.find(({ name }) => name === 'report.html')?.text ?? '', pdf, options.paper);
    if (printed.ok) files.push(pdf);
    else tell(printed.text);
    if (options.json === true) printJson('report', { run: runId, folder, files });
    else say(...files, 'This is a draft. issue-report numbers and signs it.');
  });
}

interface IssueOptions extends ReportOptions {
  readonly by: string;
  readonly key?: string;
  readonly book?: string;
  readonly amends?: string;
  readonly reason?: string;
}

/** Beside the archive, unless another is named. */
const bookOf = ({ archive, book }: { readonly archive: string; readonly book?: string }): string => resolve(book ?? bookBeside(resolve(archive)));

function issue(named: string | undefined, options: IssueOptions): Promise<void> {
  if ((options.amends === undefined) !== (options.reason === undefined)) {
    throw new Stop(exitCode.badInput, 'An amendment names the report that it takes the place of and says why: give --amends NUMBER and --reason TEXT. Nothing was issued.');
  }
  return withArchive(options.archive, async (archive) => {
    const runId = chosenRun(archive, named);
    const key = options.key === undefined ? null : readPersonalKey(resolve(options.key), process.env['RAILHOUSE_KEY_PASSPHRASE'] ?? null);
    if (key?.ok === false) throw new Stop(exitCode.badInput, key.text);
    const issued = await issueReport({
      archive, runId, length: options.length, paper: options.paper, by: options.by, key,
      details: detailsAsked(archive, options),
      at: isoTime(machineClock.unixNow()),
      amends: options.amends === undefined || options.reason === undefined ? null : { number: options.amends, reason: options.reason },
      book: bookOf(options),
      print: chromiumPrinter(),
    });
    if (!issued.ok) throw new Stop(exitCode.badInput, issued.text);
    tell(...issued.mended);
    if (issued.notPrinted !== '') tell(issued.notPrinted);
    const measuredBy = archive.run(runId)?.operator ?? '';
    if (samePerson(options.by, measuredBy)) tell(`${options.by} measured this run and releases its report; the report says so.`);
    if (options.json === true) printJson('issue-report', { run: runId, number: issued.number, folder: issued.folder, publicKey: issued.publicKey });
    else {
      say(
        issued.number, issued.folder, `Signed with the public key ${issued.publicKey}: give it to your customers by another way than with the report.`,
        `To check it: ${commandLine('prove-report', join(issued.folder, 'report.html'))}`,
      );
    }
  });
}

interface ProofOptions {
  readonly publicKey?: string;
  readonly against?: string;
  readonly book?: string;
  readonly token?: string;
  readonly authority?: string;
  readonly json?: true;
}

function bytesOf(path: string): Buffer {
  try {
    return readFileSync(path);
  } catch (error) {
    throw new Stop(exitCode.badInput, `${path} cannot be read (${(error as Error).message}).`);
  }
}

function proveReport(file: string, { publicKey, against, book, token, authority, json = false }: Omit<ProofOptions, 'json'> & { readonly json?: boolean }): void {
  const path = resolve(file);
  const name = basename(path);
  const data = bytesOf(path);
  const whoseKey = (key: string): string => (publicKey === undefined ? `Sealed with the key ${key}. Compare it with the one that the laboratory gave you (--public-key): anybody can seal a report with a key of his own.` : 'Sealed with the key that was given.');
  if (/\.(?:pdf|json|csv)$/u.test(name)) {
    const listed = checkListed(name, data, bytesOf(join(dirname(path), 'seal.txt')).toString('utf8'), publicKey ?? null);
    if (!listed.holds) throw new Stop(exitCode.checkFailed, listed.text);
    if (against !== undefined) throw new Stop(exitCode.badInput, `${name} is as it was issued. An archive is compared with the HTML file of the report: name that.`);
    if (json) printJson('prove-report', { kind: 'file', file: path, number: listed.number, publicKey: listed.publicKey, publicKeyGiven: publicKey !== undefined });
    else say(`${name} is as it was issued with report ${listed.number}.`, whoseKey(listed.publicKey));
    return;
  }
  const checked = checkReport(data, publicKey ?? null);
  if (!checked.holds) throw new Stop(exitCode.checkFailed, checked.text);
  const { inside, seal } = checked;
  const amends = inside.issue.amends?.number ?? null;
  if (json) {
    printJson('prove-report', {
      kind: 'report', number: seal.number, by: inside.issue.by, at: inside.issue.at, run: inside.basis.runId, archiveId: seal.archiveId, head: seal.head, amends,
      publicKey: seal.publicKey, publicKeyGiven: publicKey !== undefined,
    });
  } else {
    say(
      `Report ${seal.number} is as it was issued by ${inside.issue.by} on ${inside.issue.at}.`, whoseKey(seal.publicKey),
      `It rests on run ${inside.basis.runId}, which lies in archive ${seal.archiveId} under the head ${seal.head}.`, ...(amends === null ? [] : [`It takes the place of report ${amends}.`]),
    );
  }
  proveRelease(path, { number: seal.number, sha256: sha256Of(data), by: inside.issue.by, byKey: inside.issue.byKey }, json);
  proveStamp(path, { sha256: sha256Of(data), issued: inside.issue.at }, { token, authority }, json);
  if (book !== undefined) sayRegistered(resolve(book), seal, json);
  if (against === undefined) return;
  const archive = archivePlace(against, 'read');
  try {
    const proved = proveAgainst(archive, checked);
    if (!proved.holds) throw new Stop(exitCode.checkFailed, proved.text);
    if (json) printJson('prove-report', { kind: 'against', text: proved.text });
    else say(proved.text);
  } finally {
    archive.close();
  }
}

/** What the register of the lab says of a report: entered as it is, and whether another took its place. */
function sayRegistered(book: string, { number, body }: { readonly number: string; readonly body: string }, json: boolean): void {
  const register = readRegister(book);
  if (!register.ok) throw new Stop(exitCode.checkFailed, register.text);
  const { reports } = register.value;
  if (!reports.some((r) => r.number === number && r.sha256 === body)) throw new Stop(exitCode.checkFailed, `The register in ${book} has no such report ${number}.`);
  const later = reports.find((r) => r.amends === number);
  if (json) {
    printJson('prove-report', { kind: 'register', replacedBy: later?.number ?? null, replacedAt: later?.at ?? null });
    return;
  }
  say(later === undefined ? 'The register has it, and no report took its place.' : `The register has it. Report ${later.number} TOOK ITS PLACE on ${later.at}.`);
}

/** Certificates that the person trusts; none where no file was named. */
function authorities(file: string | undefined): readonly X509Certificate[] {
  if (file === undefined) return [];
  const read = certificatesIn(bytesOf(resolve(file)));
  if (!read.ok) throw new Stop(exitCode.badInput, `${file}: ${read.text} Give the authority's certificates as PEM or DER.`);
  return read.value;
}

/** The person's own signature that lies beside a report. */
function proveRelease(report: string, of: Parameters<typeof releaseSentence>[1], json: boolean): void {
  const path = join(dirname(report), releaseName);
  const there = existsSync(path);
  const { holds, text } = releaseSentence(there ? bytesOf(path).toString('utf8') : null, of);
  if (!holds) throw new Stop(exitCode.checkFailed, text);
  if (json) printJson('prove-report', { kind: 'release', byKey: of.byKey ?? null, signatureAtHand: there, text });
  else say(text);
}

/** The time stamp that lies beside a report, or the one that was named. */
function proveStamp(report: string, of: { readonly sha256: string; readonly issued: string }, { token, authority }: Readonly<Record<'token' | 'authority', string | undefined>>, json: boolean): void {
  const path = token ?? (existsSync(stampBeside(report)) ? stampBeside(report) : null);
  if (path === null && authority !== undefined) throw new Stop(exitCode.badInput, `There is no time stamp beside ${report}. Name it with --token, or leave --authority away.`);
  if (path === null) return;
  const stamped = checkStamp(report, bytesOf(resolve(path)), of, authorities(authority));
  if (!stamped.ok) throw new Stop(exitCode.checkFailed, stamped.text);
  sayStamp('prove-report', stamped.value, json);
}

function sayStamp(command: 'prove-report' | 'time-stamp', { stamp, sentences }: Omit<KeptStamp, 'kept'>, json: boolean): void {
  if (json) printJson(command, { kind: 'time-stamp', ...stamp, chain: [...stamp.chain] });
  else say(...sentences);
}

interface StampOptions {
  readonly answer?: string;
  readonly authority?: string;
  readonly policy?: string;
  readonly json?: true;
}

function timeStamp(file: string, { answer, authority, policy, json = false }: Omit<StampOptions, 'json'> & { readonly json?: boolean }): void {
  const path = resolve(file);
  // That it can be read is said before all else.
  bytesOf(path);
  if (answer === undefined) {
    const written = writeStampRequest(path, machineEntropy, policy ?? null);
    if (!written.ok) throw new Stop(exitCode.badInput, written.text);
    const { sha256, path: request } = written.value;
    if (json) printJson('time-stamp', { kind: 'request', request, sha256 });
    else say(request, `The request for a time stamp of the SHA-256 ${sha256}. Carry it to a time-stamp authority (RFC 3161), and bring its answer back: ${commandLine('time-stamp', path, '--answer', 'ANSWER')}`);
    return;
  }
  if (policy !== undefined) throw new Stop(exitCode.badInput, 'A policy is asked for with the request. Nothing was kept: leave --policy away here.');
  const kept = keepStamp(path, bytesOf(resolve(answer)), authorities(authority));
  if (!kept.ok) throw new Stop(exitCode.checkFailed, kept.text);
  if (!json) say(kept.value.kept);
  sayStamp('time-stamp', kept.value, json);
}

function policyOid(text: string): string {
  if (!/^[0-2](?:\.\d{1,9}){1,20}$/u.test(text)) throw new InvalidArgumentError('A policy is an identifier in digits and points, like 1.3.6.1.4.1.99999.1.');
  return text;
}

function personName(text: string): string {
  const name = text.trim();
  if (name === '' || name.length > 120 || !oneLinePattern.test(name)) throw new InvalidArgumentError('Give the name of a person, in one line of at most 120 characters.');
  return name;
}

function reasonText(text: string): string {
  if (text.trim() === '' || text.length > 1000 || !oneLinePattern.test(text)) throw new InvalidArgumentError('Give the reason in one line of at most 1000 characters.');
  return text.trim();
}

function givenKey(text: string): string {
  if (publicHeadKey(text) === null) throw new InvalidArgumentError('A public key is 43 letters and digits, as issue-report prints it.');
  return text;
}

export function addReportCommands(program: Command): void {
  withReportOptions(withJsonOption(program.command('report')))
    .description('write a report of a run for the customer, as a draft: HTML, PDF (where a Chromium is), JSON and CSV')
    .addOption(new Option('--to <folder>', 'folder for the files; it is made if it is not there').default('report'))
    .action(draft);

  withReportOptions(withJsonOption(program.command('issue-report')))
    .description('issue a report of a run: numbered, signed, and entered in the book of reports, where it is never changed')
    .addOption(new Option('--by <name>', 'who releases it and answers for it').argParser(personName).makeOptionMandatory())
    .addOption(new Option('--key <file>', 'the key of that person (Ed25519, PEM; encrypted: RAILHOUSE_KEY_PASSPHRASE), where he has one of his own'))
    .addOption(new Option('--book <folder>', 'the book of reports: register, key, and every report (default: "reports" beside the archive)'))
    .addOption(new Option('--amends <number>', 'the report that this one takes the place of').argParser(reasonText))
    .addOption(new Option('--reason <text>', 'why it does').argParser(reasonText))
    .action(issue);

  withJsonOption(program.command('prove-report'))
    .description('check that an issued report is as it was issued, by itself and offline; and, where its archive is at hand, that it comes out of it again')
    .argument('<file>', 'report.html; or the PDF, JSON or CSV beside it')
    .addOption(new Option('--public-key <key>', 'the public key of the laboratory, as the laboratory gave it').argParser(givenKey))
    .addOption(new Option('--against <archive>', 'also hold it against this archive'))
    .addOption(new Option('--book <folder>', 'also look it up in this book of reports'))
    .addOption(new Option('--token <file>', 'its time stamp (default: report.tsr beside it, where one lies there)'))
    .addOption(new Option('--authority <file>', 'certificates (PEM or DER) in which the chain of the time stamp has to end'))
    .action(proveReport);

  withJsonOption(program.command('time-stamp'))
    .description('time-stamp an issued report by files (RFC 3161): write the request for an authority, and keep its answer beside the report once it was checked')
    .argument('<file>', 'report.html')
    .addOption(new Option('--answer <file>', 'what the authority answered; without it the request is written'))
    .addOption(new Option('--authority <file>', 'certificates (PEM or DER) in which the chain of the answer has to end'))
    .addOption(new Option('--policy <oid>', 'the policy to ask for').argParser(policyOid))
    .action(timeStamp);
}
