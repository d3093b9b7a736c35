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
  /**
   * What the connected bench reads over so many seconds of its time: edges of the meter, means in kPa and V, controller against host in ppm with its standard uncertainty (null: too
   * short to tell). `driven`: an injector was driven meanwhile. Asks nothing of the bench. HOST-132
   */
  'qualification.read': {
    control: false, params: z.strictObject({ seconds: z.number().min(1).max(600) }),
    result: z.object({
      seconds: finite, frames: z.int(), edges: z.int(), pressureKpa: finite, supplyV: finite, driven: z.boolean(), clock: z.object({ ppm: finite, uncertaintyPpm: finite }).nullable(),
    }),
  },
  /** Sheets of a bench (`model serialNumber`), the latest first, at most 100; null: the latest of each bench. `now`: by the clock that a run would have. HOST-133 */
  'qualifications.list': {
    control: false, params: z.strictObject({ bench: oneLine(200).nullable() }),
    result: z.object({ now: finite, cut: z.boolean(), sheets: z.array(z.object({ bench: z.string(), version: z.int(), savedAt: finite, document: z.unknown() })) }),
  },
  /** Keeps a sheet for good. The host writes when it was done, and by whom. HOST-133 */
  'qualification.keep': {
    control: true, params: z.strictObject({ document: z.unknown(), by: person }),
    result: z.object({ problems: z.array(problem), kept: z.object({ version: z.int(), qualified: z.boolean(), text: z.string() }).nullable() }),
  },
} as const satisfies Requests;
