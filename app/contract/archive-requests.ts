/** Requests of the archive as a whole. */
import { z } from 'zod';
import { finite, id, nothing, text, type Requests } from './fields.ts';
import { searchResult } from './search.ts';

/** How many entries the ledger of an archive has, and one hash over all of them. */
export const archiveHead = z.string().regex(/^\d{1,15}:[0-9a-f]{64}$/u);

const runRow = z.object({
  id, createdAt: finite, planName: z.string(), order: z.string(), operator: z.string(), software: z.string(),
  points: finite, counting: finite, attempts: finite, ending: z.string().nullable(), lastAt: finite.nullable(),
  /** Measured on a simulated bench of this program; null: from before this was noted. */
  simulated: z.boolean().nullable().default(null),
});
export type RunRow = z.infer<typeof runRow>;

export const archiveRequests = {
  'runs.list': {
    control: false,
    params: z.strictObject({
      text: text.optional(), after: z.strictObject({ createdAt: finite, id }).optional(), limit: z.int().min(1).max(500),
    }),
    result: z.array(runRow),
  },
  /** Whatever in the archive has `text` in it; an empty one: what is still to be looked at, then the latest runs. HOST-109 */
  search: { control: false, params: z.strictObject({ text: z.string().max(200) }), result: searchResult },
  /** Id of the archive, and the head that stands for its whole contents now. */
  'archive.head': { control: false, params: nothing, result: z.object({ archiveId: z.string(), head: archiveHead }) },
  /** `head`: one that was noted earlier and must lie in the history of this archive. null: the file is too damaged to have one. */
  'archive.verify': {
    control: false, params: z.strictObject({ head: archiveHead.optional() }),
    result: z.object({
      passed: z.boolean(), checks: z.array(z.object({ name: z.string(), passed: z.boolean(), text: z.string() })),
      archiveId: z.string().nullable(), head: archiveHead.nullable(),
    }),
  },
  /** Copies the archive into its own folder under a name with the date. */
  'archive.backup': { control: true, params: nothing, result: z.object({ path: z.string(), bytes: finite }) },
} as const satisfies Requests;
