/** Who calibrated for whom: what a digital calibration certificate must name and no run knows. TAB-17. */
import { z } from 'zod';
import { problemsOf } from '../boundary/problems.ts';
import type { Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';

const named = oneLine(300).min(1);

const partiesSchema = z.strictObject({
  partiesVersion: z.literal(1),
  /** Number of the certificate. */
  certificate: named,
  laboratory: z.strictObject({ name: named, city: named, countryCode: z.string().regex(/^[A-Z]{2}$/) }),
  responsible: named,
  customer: z.strictObject({ name: named, city: named }),
});

export type Parties = z.infer<typeof partiesSchema>;

export function parseParties(input: unknown): { readonly ok: true; readonly parties: Parties } | { readonly ok: false; readonly problems: readonly Problem[] } {
  const parsed = partiesSchema.safeParse(input);
  return parsed.success ? { ok: true, parties: parsed.data } : { ok: false, problems: problemsOf(parsed.error, input) };
}

/** For editors, and for programs in other languages. */
export const partiesJsonSchema = (): Record<string, unknown> => ({ title: 'Parties of a digital calibration certificate, version 1', ...z.toJSONSchema(partiesSchema, { io: 'input', target: 'draft-2020-12' }) });
