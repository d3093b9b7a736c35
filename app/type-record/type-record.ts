/** The lab's record of a type of injector. EQ-14, EQ-15 in app/equipment/README.md. */
import { z } from 'zod';
import { problemsOf, type Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';
import { typeProblems } from '../plan/of-type.ts';
import { parsePlan } from '../plan/parse.ts';
import { typeFields } from '../plan/plan.ts';

const typeRecordSchema = z.strictObject({
  typeRecordVersion: z.literal(1),
  /** As injectors of it are booked in. */
  type: oneLine(60).trim().min(1),
  ...typeFields,
  /** Name of the fluid that the static flow is stated in; `flowDensityKgPerM3` is its density. */
  flowFluid: oneLine(60).optional(),
  /** Parts of a plan that a new sweep of this type begins with: everything but name, job, injectors, types and reference point. */
  template: z.record(z.string(), z.unknown()).optional(),
  notes: oneLine(500).optional(),
  /** Who saved this version, and why; written by whoever saves it. */
  changed: z.strictObject({ by: oneLine(120).min(1), reason: oneLine(500) }).optional(),
});

export type TypeRecord = z.infer<typeof typeRecordSchema>;

/** Parts of a plan that are of one job, and of no template. */
export const ownOfPlan: readonly string[] = ['planVersion', 'name', 'order', 'injectors', 'types', 'reference'];

export type TypeRecordParsed = { readonly ok: true; readonly record: TypeRecord } | { readonly ok: false; readonly problems: readonly Problem[] };

/** A type record, or everything that is wrong with the document. */
export function parseTypeRecord(input: unknown): TypeRecordParsed {
  const parsed = typeRecordSchema.safeParse(input);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, input) };
  const problems = [...typeProblems(parsed.data), ...templateProblems(parsed.data)];
  return problems.length > 0 ? { ok: false, problems } : { ok: true, record: parsed.data };
}

/** A template is right if it makes a plan of one injector. */
function templateProblems({ template, type }: TypeRecord): readonly Problem[] {
  if (template === undefined) return [];
  const own = Object.keys(template).filter((part) => ownOfPlan.includes(part));
  if (own.length > 0) return own.map((part) => ({ path: `template.${part}`, text: 'This belongs to one job, and to no plan that others begin with. Leave it out.' }));
  const parsed = parsePlan({ ...template, planVersion: 1, name: type, injectors: [{ serialNumber: '1', type, channel: 1 }] });
  return parsed.ok ? [] : parsed.problems.map(({ path, text }) => ({ path: `template.${path}`, text }));
}

/** What of a plan document can be a template. */
export function templateOf(document: Readonly<Record<string, unknown>>): Record<string, unknown> {
  const kept = Object.entries(document).filter(([part]) => !ownOfPlan.includes(part));
  const template = Object.fromEntries(kept);
  // Without a reference point nothing can be taken off by one.
  const reduction = template['reduction'];
  if (typeof reduction === 'object' && reduction !== null && (reduction as { driftCorrection?: unknown }).driftCorrection === 'reference') {
    template['reduction'] = { ...reduction, driftCorrection: 'none' };
  }
  return template;
}
