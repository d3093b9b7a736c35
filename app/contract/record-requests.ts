/** Requests of the records that the lab keeps in versions: types of injectors, qualifications of benches. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { finite, nothing, person, problem, type Requests } from './fields.ts';

const typeRow = z.object({ type: z.string(), version: z.int(), savedAt: finite, savedBy: z.string(), document: z.unknown() });
export type StoredType = z.infer<typeof typeRow>;

export const recordRequests = {
  /** The latest record of each type, by name. HOST-130 */
  'types.list': { control: false, params: nothing, result: z.object({ types: z.array(typeRow), cut: z.boolean() }) },
  /** Every version of the record of a type, the latest first, at most 100. HOST-130 */
  'types.versions': { control: false, params: z.strictObject({ type: oneLine(60).min(1) }), result: z.object({ versions: z.array(typeRow), cut: z.boolean() }) },
  /** `basedOn`: version that the change was made on, 0: none; refused where another was saved since. HOST-131 */
  'types.save': {
    control: true,
    params: z.strictObject({ document: z.unknown(), by: person, reason: oneLine(500), basedOn: z.int().min(0) }),
    result: z.object({ version: z.int().nullable(), problems: z.array(problem) }),
  },
} as const satisfies Requests;
