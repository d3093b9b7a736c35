/** Issuing a report of a run, and proving one against an archive. REP-21 to REP-28. */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { reportDetailsSchema, type ReportDetails } from '../../app/report/details.ts';
import { documentText, type ReportDocument, type ReportLength } from '../../app/report/document.ts';
import { reportCsv } from '../../app/report/csv.ts';
import { reportBody, reportTail } from '../../app/report/html.ts';
import type { Paper } from '../../app/report/style.ts';
import type { Archive } from '../archive/archive.ts';
import { parseHead } from '../archive/ledger.ts';
import { issueInBook, sealedName } from './book.ts';
import { mayIssue, releaseName, releaseText, type PersonalKey } from './issuers.ts';
import type { PdfPrinter } from './pdf.ts';
import { filesSealText, sealText, sha256Of, type CheckedReport } from './seal.ts';
import { reportInArchive } from './source.ts';

export interface ToIssue {
  readonly archive: Archive;
  readonly runId: string;
  readonly details: ReportDetails;
  readonly length: ReportLength;
  readonly paper: Paper;
  readonly by: string;
  /** The key of that person; null: he has none. */
  readonly key: PersonalKey | null;
  /** ISO 8601, UTC. */
  readonly at: string;
  readonly amends: { readonly number: string; readonly reason: string } | null;
  readonly book: string;
  readonly print: PdfPrinter;
}

export type IssuedReport =
  /** `notPrinted`: why there is no PDF; empty: there is one. */
  | { readonly ok: true; readonly number: string; readonly folder: string; readonly publicKey: string; readonly notPrinted: string; /** What an earlier program had left unfinished in the book, and was mended. */ readonly mended: readonly string[] }
  | { readonly ok: false; readonly text: string };

/** Numbers, signs and enters a report of the run as it stands now. */
export async function issueReport({ archive, runId, details, length, paper, by, key: personal, at, amends, book, print }: ToIssue): Promise<IssuedReport> {
  const may = mayIssue(book, by, personal);
  if (!may.ok) return may;
  let notPrinted = '';
  const issued = await issueInBook(book, {
    runId,
    at,
    by,
    amends: amends?.number ?? null,
    make: async ({ number, key, amended, folder }) => {
      const found = reportInArchive(archive, {
        runId,
        details,
        length,
        issue: { number, by, ...(personal === null ? {} : { byKey: personal.publicKey }), at, publicKey: key.publicKey, amends: amended === null || amends === null ? null : { number: amended.number, sha256: amended.sha256, reason: amends.reason } },
      });
      if (!found.ok) return found;
      const { document } = found;
      const body = reportBody(document);
      const { archiveId, archiveHead } = document.basis;
      const sha256 = sha256Of(body);
      const html = body + reportTail(sealText({ number, body: sha256, archiveId, head: archiveHead, publicKey: key.publicKey }, key.key));
      const printed = await print(html, join(folder, 'report.pdf'), paper);
      if (!printed.ok) notPrinted = printed.text;
      const files = [
        { name: sealedName, data: html },
        { name: 'report.json', data: documentText(document) },
        { name: 'report.csv', data: reportCsv(document) },
        ...(personal === null ? [] : [{ name: releaseName, data: releaseText({ number, sha256: sha256Of(html), by }, personal) }]),
        ...(printed.ok ? [{ name: 'report.pdf', data: readFileSync(join(folder, 'report.pdf')) }] : []),
      ];
      const list = filesSealText(number, key.publicKey, files.map(({ name, data }) => ({ name, sha256: sha256Of(data) })), key.key);
      // The sealed file last (REP-35).
      return { ok: true, value: { sha256, files: [{ name: 'seal.txt', data: list }, ...files.toReversed()] } };
    },
  });
  return issued.ok ? { ok: true, ...issued.value, notPrinted } : issued;
}

type ProvedReport = { readonly holds: true; readonly text: string } | { readonly holds: false; readonly text: string };

/**
 * Holds a report that is as it was issued against the archive that it rests on: the archive still has the head that the report names, is whole, and
 * gives the same document when the run is worked out anew as it stood then. Takes as long as `verify`.
 */
export function proveAgainst(archive: Archive, { inside, seal, json }: Extract<CheckedReport, { holds: true }>): ProvedReport {
  const fails = (text: string): ProvedReport => ({ holds: false, text });
  if (archive.archiveId() !== seal.archiveId) return fails(`The report rests on archive ${seal.archiveId}, and ${archive.path} is ${archive.archiveId()}.`);
  const head = parseHead(seal.head);
  const details = reportDetailsSchema.safeParse(inside.details);
  if (head === null || !details.success) return fails('The document inside of the report is of a newer version of this program.');
  const verified = archive.verify([head]);
  if (!verified.passed) return fails(`The archive does not hold: ${verified.checks.filter((c) => !c.passed).map((c) => c.text).join(' ')}`);
  const { runId, journal, writtenWith } = inside.basis;
  const found = reportInArchive(archive, { runId, details: details.data, length: inside.length, issue: inside.issue, then: { head, events: journal.events } });
  if (!found.ok) return fails(found.text);
  if (found.document.basis.journal.hash !== journal.hash) return fails('The journal of the run has another hash at the event that the report rests on: it is not the same journal.');
  if (documentText(found.document) === json) return { holds: true, text: 'Worked out anew from the archive, every word and number of the report comes out the same.' };
  const other = differences(found.document, json);
  const { writtenWith: now } = found.document.basis;
  return writtenWith === now
    ? fails(`Worked out anew from the archive, the report comes out differently: ${other}.`)
    : fails(`The report was written with ${writtenWith}, and this is ${now}: worked out anew, it comes out differently (${other}). Prove it with the version that wrote it.`);
}

/** Where two documents begin to differ, in words. */
function differences(document: ReportDocument, json: string): string {
  const other = JSON.parse(json) as Readonly<Record<string, unknown>>;
  const parts = Object.entries(document).flatMap(([name, value]) => (JSON.stringify(value) === JSON.stringify(other[name]) ? [] : [name]));
  return parts.length === 0 ? 'order or spelling' : `in ${parts.join(', ')}`;
}
