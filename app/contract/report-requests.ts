/** Requests of reports: drafts, issue, stamps and proofs. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { reportDetailsSchema } from '../report/details.ts';
import { reportLengths } from '../report/document.ts';
import { papers } from '../report/style.ts';
import { finite, id, keptFiles, nothing, person, problem, type Requests } from './fields.ts';

/** Of the book of reports, like `R-2026-0001`. */
const reportNumber = z.string().regex(/^R-\d{4}-\d{4,9}$/u);
/** A file of some kilobytes. */
const smallFile = z.base64().max(400_000);

const issuedReport = z.object({
  number: z.string(), at: z.string(), runId: z.string(), by: z.string().nullable(), amends: z.string().nullable(), amendedBy: z.string().nullable(),
  /** What there is of a time stamp beside it. */
  stamp: z.enum(['none', 'asked', 'kept']),
});
export type IssuedReportRow = z.infer<typeof issuedReport>;

const detailsRow = z.object({ name: z.string(), version: z.int(), savedAt: finite, savedBy: z.string(), document: z.unknown() });
export type StoredDetails = z.infer<typeof detailsRow>;

export const reportRequests = {
  /** The latest details of reports that are kept under each name. HOST-160 */
  'details.list': { control: false, params: nothing, result: z.object({ details: z.array(detailsRow), cut: z.boolean() }) },
  /** `document`: of details; `basedOn`: version that the change was made on, 0: none; refused where another was saved since. HOST-160 */
  'details.save': {
    control: false,
    params: z.strictObject({ name: oneLine(120).trim().min(1), document: z.unknown(), by: person, reason: oneLine(500), basedOn: z.int().min(0) }),
    result: z.object({ version: z.int().nullable(), problems: z.array(problem) }),
  },
  /** Makes a draft of a report, as files that are kept and read like those of an export. REP-29 */
  'run.report': {
    control: false,
    params: z.strictObject({ id, length: z.enum(reportLengths), details: reportDetailsSchema.optional() }),
    result: keptFiles,
  },
  /** What was issued, the latest first, at most 500. `problem`: what is wrong with the book; empty: nothing. `publicKey` null: nothing was issued yet. REP-40 */
  'reports.list': { control: false, params: nothing, result: z.object({ book: z.string(), publicKey: z.string().nullable(), problem: z.string(), reports: z.array(issuedReport) }) },
  /** Numbers, signs and enters a report. `said`: what the person must know beside. */
  'report.issue': {
    control: false,
    params: z.strictObject({
      id, length: z.enum(reportLengths), paper: z.enum(Object.keys(papers) as [keyof typeof papers]), details: reportDetailsSchema.optional(), by: person,
      /** Said by the person who releases: he measured too. Without it that is refused. */
      measuredToo: z.boolean(),
      amends: z.strictObject({ number: reportNumber, reason: oneLine(1000).trim().min(1) }).nullable(),
    }),
    result: z.object({ number: z.string(), folder: z.string(), publicKey: z.string(), said: z.array(z.string()) }),
  },
  /** The HTML file of an issued report, kept and read like those of an export. */
  'report.read': { control: false, params: z.strictObject({ number: reportNumber }), result: keptFiles },
  /** The request for a time stamp of an issued report; with an `answer` of the authority: that is checked, and kept where it holds. */
  'report.stamp': {
    control: false, params: z.strictObject({ number: reportNumber, answer: smallFile.nullable() }),
    result: z.object({ request: smallFile.nullable(), said: z.array(z.string()) }),
  },
  /** A piece of a text that the window has and the host has not: added to what came under this name. */
  'file.give': { control: false, params: z.strictObject({ upload: id, text: z.string().max(250_000) }), result: nothing },
  /**
   * Proves a report by itself; `against`: also against this archive and its book of reports. `upload`: the whole HTML file, as it was given; it is forgotten then.
   * `stamp`: an authority's answer. `publicKey`: the one that the laboratory gave.
   */
  'report.prove': {
    control: false,
    params: z.strictObject({ upload: id, publicKey: z.string().max(100).optional(), stamp: smallFile.optional(), against: z.boolean() }),
    result: z.object({ holds: z.boolean(), said: z.array(z.string()) }),
  },
} as const satisfies Requests;
