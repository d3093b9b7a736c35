/** What a search over the archive finds, as windows see it (HOST-109). */
import { z } from 'zod';

/** What a search finds, in the order in which it is listed. */
export const foundKinds = ['injector', 'order', 'type', 'run', 'plan', 'report', 'examination', 'note'] as const;
export type FoundKind = (typeof foundKinds)[number];

export const searchResult = z.object({
  found: z.array(z.object({
    kind: z.enum(foundKinds),
    /** Of the plan; the number of the report; the run of a run and of a note; the serial number of an examined injector; of others their own words. */
    id: z.string(),
    text: z.string(), detail: z.string(), at: z.number().nullable(),
    /** Of a note: what it is about. Indices of the run. */
    point: z.int().nullable(), attempt: z.int().nullable(), injector: z.int().nullable(),
    /** It is still to be looked at. */
    open: z.boolean(),
  })),
  /** There is more of a kind than is listed. */
  cut: z.boolean(),
});
