/**
 * What a report says beside what was measured: laboratory, customer, item, agreed limits and decision rule. A file of the lab for each
 * order; its units are the trade's. A report without one says what is not stated. REP-2, REP-14.
 */
import { z } from 'zod';
import { problemsOf, type Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';

const line = oneLine(400).min(1);
const party = z.strictObject({ name: line, address: z.array(line).max(8).default([]), contact: line.optional() });
const bounds = { low: z.number().optional(), high: z.number().optional() };
/** Which injectors and conditions a limit is for; what is absent: all. */
const where = { type: line.optional(), pressureKpa: z.number().positive().optional() };
const atVoltage = { ...where, voltageV: z.number().positive().optional() };

const limit = z
  .discriminatedUnion('of', [
    /** mg/ms */
    z.strictObject({ of: z.literal('slope'), ...atVoltage, ...bounds }),
    /** g/min */
    z.strictObject({ of: z.literal('static-flow'), ...where, ...bounds }),
    /** ms */
    z.strictObject({ of: z.literal('dead-time'), ...atVoltage, ...bounds }),
    /** How far an injector may lie from the mean of the set: percent of it for slopes and static flows, us for dead times. */
    z.strictObject({ of: z.literal('match'), quantity: z.enum(['slope', 'static-flow', 'dead-time']), ...atVoltage, within: z.number().positive() }),
    /** mL/min, of the rail with all injectors shut: the largest of all blocks of the run. */
    z.strictObject({ of: z.literal('leak'), high: z.number().nonnegative() }),
    /** ohm, as the plan has it. The standard uncertainty is that of whoever measured it. */
    z.strictObject({ of: z.literal('coil-resistance'), type: line.optional(), ...bounds, standardUncertaintyOhm: z.number().positive() }),
  ])
  .refine((l) => l.of === 'match' || l.of === 'leak' || l.low !== undefined || l.high !== undefined, { error: 'A limit needs a value: give low, high or both.' })
  .refine((l) => l.of === 'match' || l.of === 'leak' || l.low === undefined || l.high === undefined || l.low < l.high, { error: 'Of the two limits, low must be below high.' });

const rule = z.discriminatedUnion('kind', [
  z.strictObject({ kind: z.literal('simple') }),
  z.strictObject({ kind: z.literal('guard-band'), times: z.number().positive().max(10).default(1) }),
  z.strictObject({ kind: z.literal('stated-risk'), risk: z.number().gt(0).lt(0.5) }),
]);

export const reportDetailsSchema = z.strictObject({
  reportDetailsVersion: z.literal(1),
  title: line.optional(),
  laboratory: party.extend({ /** Where it was measured, if not at that address. */ place: line.optional() }).optional(),
  customer: party.extend({ reference: line.optional() }).optional(),
  receivedOn: z.iso.date().optional(),
  /** Condition as received, of all injectors, or of one by its serial number. */
  condition: line.optional(),
  conditions: z.array(z.strictObject({ serialNumber: line, condition: line })).max(10_000).default([]),
  /** What else may have influenced the results: room temperature, humidity. */
  environment: line.optional(),
  /** Of the lab's procedure, where it has one for this. */
  method: line.optional(),
  deviations: z.array(line).max(50).default([]),
  /** What was adjusted or repaired before, and where the results from before that stand. */
  adjustment: line.optional(),
  /** Results that somebody else provided, and who. */
  external: z.array(line).max(50).default([]),
  /** Given by the person who released the report, apart from what was measured. */
  opinions: z.array(line).max(50).default([]),
  /** The greatest U95 that was agreed. */
  targets: z.strictObject({ deadTimeUs: z.number().positive().optional(), slopePercent: z.number().positive().optional(), staticFlowPercent: z.number().positive().optional() }).default({}),
  limits: z.array(limit).max(1000).default([]),
  /** In full reports a Monte Carlo (JCGM 101:2008) beside each dead time, slope and static flow; some hundredths of a second for each. A new report without a word of it has one. TAB-27 */
  monteCarlo: z.boolean().optional(),
  /** In full reports the notes of the run. A new report without a word of it has them. REP-51 */
  notes: z.boolean().optional(),
  /** Examinations of the injectors in this job, as they stood when the report was written. A new full report without a word of it takes them from the archive. REP-50 */
  visits: z
    .array(z.strictObject({
      no: z.int().min(1), serialNumber: line, stage: z.enum(['as-found', 'cleaned', 'as-left']), doneOn: z.iso.date(), by: line,
      /** ohm; null: not measured, or its uncertainty was not stated (95 %). */
      coilOhmAt20C: z.number().positive().nullable(), coilOhmExpanded: z.number().nonnegative().nullable(),
      found: oneLine(4000),
    }))
    .max(1000)
    .optional(),
  rule: rule.default({ kind: 'guard-band', times: 1 }),
});

export type ReportDetails = z.infer<typeof reportDetailsSchema>;
export type ReportLimit = ReportDetails['limits'][number];

export type DetailsParsed = { readonly ok: true; readonly details: ReportDetails } | { readonly ok: false; readonly problems: readonly Problem[] };

/** Details, or everything that is wrong with the document. */
export function parseDetails(input: unknown): DetailsParsed {
  const parsed = reportDetailsSchema.safeParse(input);
  return parsed.success ? { ok: true, details: parsed.data } : { ok: false, problems: problemsOf(parsed.error, input) };
}

/** Details that the lab keeps under a name, in versions: those of a customer, of a type, of an order (REP-60). */
const detailsRecordSchema = z.strictObject({ detailsRecordVersion: z.literal(1), details: reportDetailsSchema, reason: oneLine(500) });

export const detailsRecord = (details: ReportDetails, reason: string): z.input<typeof detailsRecordSchema> => ({ detailsRecordVersion: 1, details, reason });

/** null: it is none that this program can use. */
export function keptDetails(document: unknown): ReportDetails | null {
  const parsed = detailsRecordSchema.safeParse(document);
  return parsed.success ? parsed.data.details : null;
}

/** What a report says where nobody gave anything: nothing. */
export const noDetails: ReportDetails = reportDetailsSchema.parse({ reportDetailsVersion: 1 });

/** For editors, and for programs in other languages. What only words can say (a limit needs a value, low below high) the program says. */
export const reportDetailsJsonSchema = (): Record<string, unknown> => ({ title: 'Details of a report, version 1', ...z.toJSONSchema(reportDetailsSchema, { io: 'input', target: 'draft-2020-12' }) });
