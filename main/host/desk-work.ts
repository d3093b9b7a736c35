/** What takes time and only reads: done at the desk (desk.ts), away from what the bench hangs on. */
import { readdirSync } from 'node:fs';
import { basename, dirname, extname } from 'node:path';
import type { BenchCapabilities, BenchFrame } from '../../app/bench/port.ts';
import type { ParsedParams, AnswerTo } from '../../app/contract/contract.ts';
import type { AsJson } from './as-json.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { expectedPoints } from '../../app/plan/expand.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { preflight, type PreflightContext } from '../../app/plan/preflight.ts';
import type { ScheduleDecision } from '../../app/schedule/schedule.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import type { Archive, OpenedArchive } from '../archive/archive.ts';
import { headText, parseHead } from '../archive/ledger.ts';
import { ArchiveUnreadable, type StoredRun } from '../archive/read.ts';
import { meterStandingIn } from '../archive/meter-standing.ts';
import { qualificationIn } from '../archive/qualification-standing.ts';
import type { Verification } from '../archive/verify.ts';
import type { Entropy } from '../clock/entropy.ts';
import type { ExportDisk } from '../export/files.ts';
import type { PdfPrinter } from '../report/pdf.ts';
import { judgedForWindow, listedEquipment, listedMeterChecks } from './desk-equipment.ts';
import { condensedPage, journalPage } from './desk-journal.ts';
import { RunSignals } from './desk-signals.ts';
import { keepLayout, keptLayouts, removeLayout } from './kept-layouts.ts';
import { keepDraft, listDrafts, takeDraft } from './kept-drafts.ts';
import { newExportFolder, readPiece, removeExportFolder, sizesOf } from './export-folder.ts';

export type DeskJob =
  | { readonly kind: 'journal'; readonly params: ParsedParams<'run.journal'> }
  | { readonly kind: 'condensed'; readonly params: ParsedParams<'run.condensed'> }
  | { readonly kind: 'telemetry'; readonly params: ParsedParams<'run.telemetry'> }
  | { readonly kind: 'signals'; readonly params: ParsedParams<'run.signals'> }
  | { readonly kind: 'stability'; readonly params: ParsedParams<'run.stability'> }
  | { readonly kind: 'references'; readonly params: ParsedParams<'reference.history'> }
  | { readonly kind: 'match'; readonly params: ParsedParams<'sets.match'> }
  | { readonly kind: 'life'; readonly params: ParsedParams<'injector.life'> }
  | { readonly kind: 'recognise'; readonly params: ParsedParams<'run.recognise'> }
  | { readonly kind: 'known-types'; readonly params: ParsedParams<'types.known'> }
  | { readonly kind: 'photo'; readonly params: ParsedParams<'visits.photo'> }
  | { readonly kind: 'list'; readonly params: ParsedParams<'runs.list'> }
  | { readonly kind: 'search'; readonly text: string }
  | { readonly kind: 'export'; readonly params: ParsedParams<'run.export'>; readonly software: string }
  | { readonly kind: 'report'; readonly params: ParsedParams<'run.report'> }
  /** `text`: the whole file. */
  | { readonly kind: 'compare'; readonly params: Omit<ParsedParams<'run.compare'>, 'upload'>; readonly text: string }
  | { readonly kind: 'spread'; readonly params: ParsedParams<'types.spread'> }
  | { readonly kind: 'certificate'; readonly params: Omit<ParsedParams<'equipment.read-certificate'>, 'upload'>; readonly text: string; readonly equipment: Equipment }
  | { readonly kind: 'layouts' }
  | { readonly kind: 'keep-layout'; readonly document: unknown }
  | { readonly kind: 'remove-layout'; readonly name: string }
  /** `here`: windows that are there. */
  | { readonly kind: 'drafts'; readonly here: readonly string[]; readonly now: number }
  | { readonly kind: 'keep-draft'; readonly params: ParsedParams<'drafts.keep'>; readonly at: number }
  | { readonly kind: 'take-draft'; readonly params: ParsedParams<'drafts.take'> }
  | { readonly kind: 'issued-list' }
  /** `at`: ISO 8601. */
  | { readonly kind: 'issue'; readonly params: ParsedParams<'report.issue'>; readonly at: string }
  | { readonly kind: 'issued'; readonly params: ParsedParams<'report.read'> }
  | { readonly kind: 'stamp'; readonly params: ParsedParams<'report.stamp'> }
  /** `text`: the whole file. */
  | { readonly kind: 'prove'; readonly params: Omit<ParsedParams<'report.prove'>, 'upload'>; readonly text: string }
  | { readonly kind: 'piece'; readonly path: string; readonly from: number }
  /** The folder of an export is not needed any more. */
  | { readonly kind: 'forget'; readonly folder: string }
  | { readonly kind: 'equipment-history'; readonly today: string }
  | { readonly kind: 'meter-checks'; readonly equipment: Equipment; readonly today: string }
  | { readonly kind: 'meter-check'; readonly document: unknown; readonly equipment: Equipment }
  | { readonly kind: 'head' }
  /** What is measured next in a run of a plan with targets (RUN-231). */
  | { readonly kind: 'decide'; readonly run: string }
  | { readonly kind: 'verify'; readonly params: ParsedParams<'archive.verify'> }
  | { readonly kind: 'backup'; readonly path: string }
  | {
      readonly kind: 'check';
      readonly document: unknown;
      readonly capabilities: BenchCapabilities | null;
      readonly equipment: Equipment;
      readonly controller: PreflightContext['controller'];
      readonly freeDiskBytes: number | null;
      readonly today: string;
      /** Unix ms, by the clock of the bench. */
      readonly now: number;
    };

export interface DeskResults {
  readonly journal: AsJson<AnswerTo<'run.journal'>>;
  readonly condensed: AsJson<AnswerTo<'run.condensed'>>;
  readonly telemetry: AsJson<AnswerTo<'run.telemetry'>>;
  readonly signals: AsJson<AnswerTo<'run.signals'>>;
  readonly stability: AsJson<AnswerTo<'run.stability'>>;
  readonly references: AsJson<AnswerTo<'reference.history'>>;
  readonly match: AsJson<AnswerTo<'sets.match'>>;
  readonly life: AsJson<AnswerTo<'injector.life'>>;
  readonly recognise: AsJson<AnswerTo<'run.recognise'>>;
  readonly photo: AsJson<AnswerTo<'visits.photo'>>;
  readonly list: AsJson<AnswerTo<'runs.list'>>;
  readonly search: AsJson<AnswerTo<'search'>>;
  readonly export: { readonly folder: string; readonly files: AnswerTo<'run.export'>['files'] };
  readonly report: DeskResults['export'];
  readonly compare: AsJson<AnswerTo<'run.compare'>>;
  readonly spread: AsJson<AnswerTo<'types.spread'>>;
  readonly certificate: AsJson<AnswerTo<'equipment.read-certificate'>>;
  readonly layouts: AsJson<AnswerTo<'layouts.list'>>;
  readonly drafts: AnswerTo<'drafts.list'>;
  readonly 'keep-draft': AnswerTo<'drafts.keep'>;
  readonly 'take-draft': AnswerTo<'drafts.take'>;
  readonly 'keep-layout': AnswerTo<'layouts.save'>;
  readonly 'remove-layout': AnswerTo<'layouts.remove'>;
  readonly 'issued-list': AsJson<AnswerTo<'reports.list'>>;
  readonly issue: AnswerTo<'report.issue'>;
  readonly issued: DeskResults['export'];
  readonly stamp: AnswerTo<'report.stamp'>;
  readonly prove: AnswerTo<'report.prove'>;
  readonly piece: AsJson<AnswerTo<'export.piece'>>;
  readonly forget: null;
  readonly 'equipment-history': AsJson<AnswerTo<'equipment.history'>>;
  readonly 'meter-checks': AsJson<AnswerTo<'meter-checks.list'>>;
  readonly 'meter-check': ReturnType<typeof judgedForWindow>;
  readonly head: AnswerTo<'archive.head'>;
  readonly decide: ScheduleDecision;
  readonly verify: AnswerTo<'archive.verify'>;
  readonly backup: AnswerTo<'archive.backup'>;
  readonly 'known-types': AnswerTo<'types.known'>;
  readonly check: AnswerTo<'plan.check'>;
}

export interface DeskFailure {
  readonly ok: false;
  readonly code: 'no-run' | 'archive' | 'busy' | 'refused' | 'defect';
  readonly text: string;
}

export type DeskAnswer = { readonly ok: true; readonly value: unknown } | DeskFailure;

/** Of a photo; a third more as base64 (HOST-10). */
const PHOTO_PIECE_BYTES = 192 * 1024;

/** Where a desk is. */
export interface DeskPlaceOfWork {
  /** The process whose windows it works for. */
  readonly owner: number;
  /** Told the share of a check that is done, each hundredth once. */
  readonly onProgress?: (share: number) => void;
  /** Lets others have their turn. */
  readonly turn?: () => Promise<void>;
  /** Aborted: what is going on is ended as soon as it can be, and leaves nothing behind. */
  readonly ending?: AbortSignal;
  /** Prints a report; absent: nothing does here. */
  readonly print?: PdfPrinter;
  /** For requests of time stamps; absent: none is written here. */
  readonly entropy?: Entropy;
  /** Does what makes much in memory that is held to a little else; absent: memory is as it is. HOST-171 */
  readonly withRoom?: <T>(work: () => T) => T;
  /** What was gathered of runs; absent: nothing is kept between requests. */
  readonly signals?: RunSignals;
  /** Where exports are written; absent: the file system without patience. */
  readonly disk?: ExportDisk;
}

/** Never rejects. `opened`: the archive, for reading. */
export async function answerAtDesk(opened: OpenedArchive, job: DeskJob, at: DeskPlaceOfWork = { owner: process.pid }): Promise<DeskAnswer> {
  if (!opened.ok) return { ok: false, code: 'archive', text: opened.text };
  try {
    return await doAtDesk(opened.archive, job, at);
  } catch (error) {
    if (at.ending?.aborted === true) return { ok: false, code: 'busy', text: 'This was ended before it was finished.' };
    if (error instanceof ArchiveUnreadable) return { ok: false, code: 'archive', text: error.message };
    return { ok: false, code: 'defect', text: (error as Error).stack ?? String(error) };
  }
}

// eslint-disable-next-line max-lines-per-function, complexity -- one branch for each kind, a line or two each; the compiler asks for every kind
async function doAtDesk(archive: Archive, job: DeskJob, at: DeskPlaceOfWork): Promise<DeskAnswer> {
  const { owner, ending } = at;
  switch (job.kind) {
    case 'journal':
      return archive.run(job.params.id) === null ? noRun(archive, job.params.id) : done('journal', journalPage(archive, job.params));
    case 'condensed':
      return archive.run(job.params.id) === null ? noRun(archive, job.params.id) : done('condensed', condensedPage(archive, job.params));
    case 'telemetry': {
      const { id, most } = job.params;
      return archive.run(id) === null ? noRun(archive, id) : done('telemetry', asJson({ frames: thinned(archive, id, most) }));
    }
    case 'signals':
      return archive.run(job.params.id) === null ? noRun(archive, job.params.id) : done('signals', asJson((at.signals ?? new RunSignals()).read(archive, job.params)));
    case 'stability': {
      const { stabilityForWindow } = await import('./desk-stability.ts');
      return archive.run(job.params.id) === null ? noRun(archive, job.params.id) : done('stability', asJson(stabilityForWindow(archive, job.params)));
    }
    case 'references': {
      // What reduces is loaded by the desk that does and by no other.
      const { chartedReferences } = await import('./desk-quality.ts');
      return done('references', asJson(chartedReferences(archive, job.params, ending)));
    }
    case 'match': {
      const { matchedSets } = await import('./desk-matching.ts');
      const matched = await matchedSets(archive, job.params, at);
      return matched.ok ? done('match', asJson(matched.value)) : matched;
    }
    case 'life': {
      const { injectorLife } = await import('./desk-life.ts');
      return done('life', asJson(await injectorLife(archive, job.params.serialNumber, at)));
    }
    case 'recognise': {
      const { recognisedInjectors } = await import('./desk-recognise.ts');
      const asked = await recognisedInjectors(archive, job.params.id, at);
      return asked === null ? noRun(archive, job.params.id) : done('recognise', asJson(asked));
    }
    case 'photo': {
      const { sha256, from } = job.params;
      const data = archive.visits.photo(sha256);
      const next = from + PHOTO_PIECE_BYTES;
      return data === null
        ? { ok: false, code: 'refused', text: 'This archive has no such photo.' }
        : done('photo', asJson({ base64: data.toString('base64', Math.min(from, data.length), next), next: next < data.length ? next : null }));
    }
    case 'list': {
      const { text, after, limit } = job.params;
      const runs = archive.runs({
        limit,
        ...(text === undefined ? {} : { text }),
        ...(after === undefined ? {} : { after: { createdAt: unixMillis(after.createdAt), id: after.id } }),
      });
      return done('list', asJson(runs.map(rowOf)));
    }
    case 'search': {
      // With the book of reports, which others do not need.
      const { searchAtDesk } = await import('./desk-search.ts');
      return done('search', asJson(searchAtDesk(archive, job.text)));
    }
    case 'export': {
      const { id } = job.params;
      // What reduces is loaded by the desk that exports and by no other.
      const [{ exportRun }, { loadRun }] = await Promise.all([import('../export/export-run.ts'), import('../service/run-service.ts')]);
      const loaded = loadRun(archive, id);
      if (!loaded.ok) return { ok: false, code: loaded.code === 'no-such-run' ? 'no-run' : 'archive', text: loaded.text };
      const folder = newExportFolder(owner);
      let whole = false;
      try {
        const written = await exportRun(folder, { archive, runId: id, state: loaded.state, software: job.software }, at.disk, ending);
        if (written.kind === 'failed') return { ok: false, code: 'archive', text: written.text };
        whole = true;
        return done('export', { folder, files: sizesOf(written.files) });
      } finally {
        if (!whole) removeExportFolder(folder);
      }
    }
    case 'report':
      return draftReport(archive, job.params, at);
    case 'compare':
    case 'spread':
    case 'certificate': {
      // What reduces and reads certificates is loaded by the desk that does, and by no other.
      const { statedAtDesk } = await import('./desk-stated.ts');
      return statedAtDesk(archive, job, at);
    }
    case 'layouts':
      return done('layouts', asJson(keptLayouts(archive.path)));
    case 'keep-layout': {
      const kept = keepLayout(archive.path, job.document);
      return typeof kept === 'string' ? { ok: false, code: 'refused', text: kept } : done('keep-layout', kept);
    }
    case 'remove-layout': {
      const against = removeLayout(archive.path, job.name);
      return against === null ? done('remove-layout', {}) : { ok: false, code: 'refused', text: against };
    }
    case 'drafts':
    case 'keep-draft':
    case 'take-draft':
      return draftsAtDesk(archive.path, job);
    case 'issued-list':
    case 'issue':
    case 'issued':
    case 'stamp':
    case 'prove':
      return issuedAtDesk(archive, job, at);
    case 'piece':
      return done('piece', asJson(readPiece(job.path, job.from)));
    case 'forget':
      removeExportFolder(job.folder);
      return done('forget', null);
    case 'equipment-history':
      return done('equipment-history', asJson(listedEquipment(archive, job.today)));
    case 'meter-checks':
      return done('meter-checks', asJson(listedMeterChecks(archive, job.equipment, job.today)));
    case 'meter-check':
      return done('meter-check', judgedForWindow(archive, job.equipment, job.document));
    case 'head':
      return done('head', { archiveId: archive.archiveId(), head: headText(archive.head()) });
    case 'verify': {
      const expected = job.params.head === undefined ? null : parseHead(job.params.head);
      const { passed, checks, archiveId, head } = await verifiedGently(archive, expected === null ? [] : [expected], at);
      return done('verify', { passed, checks: [...checks], archiveId, head: head === null ? null : headText(head) });
    }
    case 'backup': {
      const inTheWay = backupsAgainst(archive.path, job.path);
      if (inTheWay !== null) return { ok: false, code: 'archive', text: inTheWay };
      const copied = await archive.backup(job.path);
      return copied.ok ? done('backup', { path: copied.path, bytes: copied.bytes }) : { ok: false, code: 'archive', text: copied.text };
    }
    case 'decide': {
      const { decideStored } = await import('../service/decide.ts');
      const decide = (): ReturnType<typeof decideStored> => decideStored(archive, job.run);
      const decided = at.withRoom === undefined ? decide() : at.withRoom(decide);
      return decided.ok ? done('decide', decided.decision) : { ok: false, code: 'archive', text: decided.text };
    }
    case 'known-types':
      return done('known-types', (await import('./desk-known-types.ts')).knownTypes(archive, job.params));
    case 'check': {
      const parsed = parsePlan(job.document);
      if (!parsed.ok) return done('check', { problems: [...parsed.problems], sheet: null, points: 0 });
      const points = expectedPoints(parsed.plan);
      const { capabilities, equipment, controller, freeDiskBytes, today, now } = job;
      const { lines, totals } = preflight(parsed.plan, points, { capabilities, equipment, controller, freeDiskBytes, meterChecks: meterStandingIn(archive, equipment, today), qualification: controller === null ? null : qualificationIn(archive, controller, now), today });
      return done('check', { problems: [], sheet: { lines: [...lines], totals }, points: points.length });
    }
  }
}

/** The same files as the command `report` makes, but for the PDF: a window prints by itself. REP-29 */
async function draftReport(archive: Archive, { id, length, details }: ParsedParams<'run.report'>, { owner, disk, ending }: DeskPlaceOfWork): Promise<DeskAnswer> {
  // What reduces is loaded by the desk that does and by no other.
  const [{ reportInArchive }, { draftFiles }, { noDetails }] = await Promise.all([import('../report/source.ts'), import('../report/draft.ts'), import('../../app/report/details.ts')]);
  if (archive.run(id) === null) return noRun(archive, id);
  const found = reportInArchive(archive, { runId: id, details: details ?? noDetails, length, issue: null });
  return found.ok ? keptFiles('report', draftFiles(found.document), { owner, disk, ending }) : { ok: false, code: 'archive', text: found.text };
}

/** What is loaded for it, is by the desk that does it alone. */
function draftsAtDesk(archivePath: string, job: Extract<DeskJob, { readonly kind: 'drafts' | 'keep-draft' | 'take-draft' }>): DeskAnswer {
  const refused = (text: string): DeskAnswer => ({ ok: false, code: 'refused', text });
  switch (job.kind) {
    case 'drafts': {
      const listed = listDrafts(archivePath, job.here, job.now);
      return typeof listed === 'string' ? refused(listed) : done('drafts', listed);
    }
    case 'keep-draft': {
      const kept = keepDraft(archivePath, job.params, job.at);
      return typeof kept === 'string' ? refused(kept) : done('keep-draft', kept);
    }
    case 'take-draft': {
      const taken = takeDraft(archivePath, job.params);
      return typeof taken === 'string' ? refused(taken) : done('take-draft', taken);
    }
  }
}

async function issuedAtDesk(archive: Archive, job: Extract<DeskJob, { readonly kind: 'issued-list' | 'issue' | 'issued' | 'stamp' | 'prove' }>, { owner, disk, ending, print, entropy }: DeskPlaceOfWork): Promise<DeskAnswer> {
  const { issuedText, issueForWindow, listedReports, proveForWindow, stampForWindow } = await import('./desk-reports.ts');
  switch (job.kind) {
    case 'issued-list':
      return done('issued-list', asJson(listedReports(archive)));
    case 'issue':
      return issueForWindow(archive, job.params, job.at, print ?? noPrinter);
    case 'issued': {
      const found = issuedText(archive, job.params.number);
      return found.ok ? keptFiles('issued', [{ name: 'report.html', text: found.value }], { owner, disk, ending }) : found;
    }
    case 'stamp':
      return entropy === undefined ? { ok: false, code: 'refused', text: 'Time stamps are not asked for here. Nothing was written.' } : stampForWindow(archive, job.params, entropy);
    case 'prove':
      return done('prove', proveForWindow(archive, job.text, job.params));
  }
}

const noPrinter: PdfPrinter = () => Promise.resolve({ ok: false, text: 'No PDF was made: nothing prints here. The HTML file is whole: open it in any browser and print it.' });

/** Files in a folder that the host keeps for its windows, all or none. */
async function keptFiles(kind: 'report' | 'issued', texts: readonly { readonly name: string; readonly text: string }[], { owner, disk, ending }: Readonly<Pick<DeskPlaceOfWork, 'owner'> & { disk: ExportDisk | undefined; ending: AbortSignal | undefined }>): Promise<DeskAnswer> {
  const { writeSet } = await import('../export/files.ts');
  const folder = newExportFolder(owner);
  let whole = false;
  try {
    const [last, ...files] = texts.map(({ name, text }) => ({ name, pieces: [text] })).reverse();
    if (last === undefined) throw new Error('there are files');
    const written = await writeSet(folder, { files: files.reverse(), closing: () => last }, disk, ending);
    if (written.kind === 'failed') return { ok: false, code: 'archive', text: written.text };
    whole = true;
    return done(kind, { folder, files: sizesOf(written.files) });
  } finally {
    if (!whole) removeExportFolder(folder);
  }
}

/** In steps, so that whoever ends the desk is heard between them. */
async function verifiedGently(archive: Archive, expected: Parameters<Archive['verifying']>[0], { onProgress, turn, ending }: DeskPlaceOfWork): Promise<Verification> {
  const work = archive.verifying(expected);
  let told = 0;
  try {
    for (let step = work.next(); ; step = work.next()) {
      if (step.done === true) return step.value;
      const share = Math.floor(100 * step.value) / 100;
      if (share > told) onProgress?.((told = share));
      await turn?.();
      ending?.throwIfAborted();
    }
  } finally {
    // The archive is about to be closed. Does nothing to one that has come to its end.
    work.return({ passed: false, checks: [], archiveId: null, head: null });
  }
}

const asJson = <T>(value: T): AsJson<T> => ({ json: JSON.stringify(value) });

/** `kind` makes the compiler hold the value against what the kind of job promises. */
const done = <K extends keyof DeskResults>(_kind: K, value: DeskResults[K]): DeskAnswer => ({ ok: true, value });

const noRun = (archive: Archive, id: string): DeskFailure => ({ ok: false, code: 'no-run', text: `There is no run ${id} in ${archive.path}. List the runs and choose one.` });

function rowOf({ id, createdAt, planName, order, operator, software, simulated, status }: StoredRun): AnswerTo<'runs.list'>[number] {
  const { points, counting, attempts, ending, lastAt } = status;
  return { id, createdAt, planName, order, operator, software, points, counting, attempts, ending, lastAt, simulated };
}

/** Every n-th frame of a run and its last, so that at most `most` are left; the whole of it is never in memory. */
function thinned(archive: Archive, id: string, most: number): BenchFrame[] {
  const count = archive.frameCount(id);
  const step = Math.max(1, Math.ceil(count / (most - 1)));
  const isWanted = (index: number): boolean => index % step === 0 || index === count - 1;
  const kept: BenchFrame[] = [];
  // A chunk without a wanted frame is not unpacked.
  for (const { first, frames } of archive.telemetryChunks(id, (from, n) => Math.ceil(from / step) * step < from + n || from + n >= count)) {
    for (const [i, frame] of frames.entries()) if (isWanted(first + i) && kept.length < most) kept.push(frame);
  }
  return kept;
}

/** Windows make backups by a press of a button: only so many are kept beside the archive (HOST-15). */
const MOST_BACKUPS = 20;

/** null: another backup may be made. */
function backupsAgainst(archivePath: string, path: string): string | null {
  const extension = extname(archivePath);
  const begin = `${basename(archivePath, extension)} `;
  const isBackup = (name: string): boolean => name.startsWith(begin) && name.endsWith(extension) && /^\d{4}-\d\d-\d\d \d\d\.\d\d\.\d\d$/.test(name.slice(begin.length, name.length - extension.length));
  const there = readdirSync(dirname(path)).filter(isBackup).length;
  return there < MOST_BACKUPS
    ? null
    : `There are ${there} backups beside the archive already, and no other was made. Move those that are to be kept to another disk, remove the others, and try again.`;
}
