/** Requests of what the lab keeps to work with: injectors, plans, layouts, drafts, and who is called. */
import { z } from 'zod';
import { oneLine } from '../boundary/text.ts';
import { finite, id, nothing, person, problem, text, type Requests } from './fields.ts';
import { onCallView, webAddress } from './on-call.ts';

/** An injector that the lab has taken in. `id` absent: a new one. */
const part = z.strictObject({
  id: id.optional(),
  order: oneLine(120).default(''),
  type: oneLine(60).trim().min(1),
  serialNumber: oneLine(60).trim().min(1),
  coilResistanceOhm: z.number().positive().nullable().default(null),
  condition: oneLine(500).default(''),
  /** Driver channel and place on the rail; null: not mounted. */
  channel: z.int().min(1).max(64).nullable().default(null),
});
export type Part = z.infer<typeof part>;

const planRow = z.object({ id, version: z.int(), name: z.string(), savedAt: finite, savedBy: z.string() });
export type PlanRow = z.infer<typeof planRow>;

const sheet = z.object({
  lines: z.array(z.object({ rule: z.string(), result: z.enum(['pass', 'warn', 'refuse']), text: z.string(), untraceable: z.string().optional(), awaitsBench: z.literal(true).optional() })),
  totals: z.object({ durationS: finite, pulses: finite, fluidMl: finite, points: finite, telemetryFrames: finite, diskBytes: finite }),
});
export type PlanSheet = z.infer<typeof sheet>;

/** A window over all loadings of its page, or one loading of it: part of a file's name. */
const draftWindow = z.string().regex(/^[A-Za-z0-9-]{1,60}$/u);
/** The page, and what on it: `results/exclude/3`. */
const draftName = z.string().regex(/^[\w./:-]{1,150}$/u);

export const libraryRequests = {
  'parts.list': { control: false, params: nothing, result: z.array(part.extend({ id })) },
  'parts.save': { control: true, params: z.strictObject({ parts: z.array(part).min(1).max(200) }), result: z.array(part.extend({ id })) },
  /** Injectors that were withdrawn, the latest first, at most 200: who, when and why. HOST-180 */
  'parts.withdrawn': { control: false, params: nothing, result: z.array(z.object({ part: part.extend({ id }), at: finite, by: z.string(), reason: z.string() })) },
  /** Takes an injector that was booked in by mistake out of the lists; refused where a run has used it. Every injector as it is then. HOST-180 */
  'parts.withdraw': { control: true, params: z.strictObject({ id, by: person, reason: oneLine(500).trim().min(1) }), result: z.array(part.extend({ id })) },
  /** Takes a withdrawal back. Every injector as it is then. HOST-181 */
  'parts.take-back': { control: true, params: z.strictObject({ id, by: person }), result: z.array(part.extend({ id })) },
  'plans.list': { control: false, params: nothing, result: z.array(planRow) },
  'plans.versions': { control: false, params: z.strictObject({ id }), result: z.array(planRow) },
  'plans.read': { control: false, params: z.strictObject({ id, version: z.int().min(1) }), result: z.object({ row: planRow, document: z.unknown() }) },
  /** Saving a plan makes a new version; an earlier one never changes. */
  'plans.save': {
    control: true,
    params: z.strictObject({ id: id.nullable(), document: z.unknown(), by: person }),
    result: z.object({ row: planRow.nullable(), problems: z.array(problem) }),
  },
  /** Layouts of tables for controllers that are kept beside the archive. TAB-52 */
  'layouts.list': { control: false, params: nothing, result: z.object({ folder: z.string(), layouts: z.array(z.object({ name: z.string(), document: z.unknown() })), problem: z.string() }) },
  'layouts.save': { control: true, params: z.strictObject({ document: z.unknown() }), result: z.object({ problems: z.array(problem) }) },
  'layouts.remove': { control: true, params: z.strictObject({ name: text }), result: nothing },
  /**
   * What was typed and is not saved, without its contents, the latest first. `window`: names this window from now on. `here`: its window is there now;
   * `work`: losing it would lose work, and not only what stood in fields. HOST-98
   */
  'drafts.list': {
    control: false, params: z.strictObject({ window: draftWindow }),
    result: z.object({ drafts: z.array(z.object({ window: draftWindow, name: draftName, title: z.string(), by: z.string(), at: finite, work: z.boolean(), here: z.boolean() })) }),
  },
  /** Keeps what was typed under its name, or takes it away (`content` null). `writer`: this loading of the page. Not kept: another page goes on with it. HOST-99 */
  'drafts.keep': {
    control: false,
    params: z.strictObject({ window: draftWindow, writer: draftWindow, name: draftName, title: oneLine(200), by: oneLine(120), work: z.boolean(), content: z.unknown() }),
    result: z.object({ kept: z.boolean() }),
  },
  /** Goes on with what this window, or one that has gone (`of`), has typed. null: it is not there any more, or this window has something of that name. HOST-101 */
  'drafts.take': { control: false, params: z.strictObject({ of: draftWindow, window: draftWindow, writer: draftWindow, name: draftName }), result: z.object({ content: z.unknown() }) },
  /** Who is called out of the house when a run needs a person: what is set, and what became of the last call (HOST-80). */
  'on-call.read': { control: false, params: nothing, result: onCallView },
  /** null: nobody. The command is set in the file only: whoever reaches a window could otherwise have this machine run anything. */
  'on-call.save': { control: true, params: z.strictObject({ webhook: webAddress.nullable() }), result: onCallView },
  /** Calls once, without trying again, and says what came of it. */
  'on-call.try': { control: true, params: nothing, result: z.object({ said: z.array(z.string()) }) },
  /** What the latest runs of each type tell at each pressure, kPa, as a plan takes it (`targets.known`); in `missing`, in words, what none tells. WIN-100 */
  'types.known': {
    control: false,
    params: z.strictObject({ types: z.array(oneLine(60).min(1)).min(1).max(100), pressuresKpa: z.array(z.number().positive()).min(1).max(100) }),
    result: z.object({ known: z.array(z.unknown()), missing: z.array(z.string()) }),
  },
  /** Problems of a document, or its pre-flight sheet for the connected bench (without one: what a plan alone can say). */
  'plan.check': {
    control: false,
    params: z.strictObject({ document: z.unknown() }),
    result: z.object({ problems: z.array(problem), sheet: sheet.nullable(), points: z.int() }),
  },
} as const satisfies Requests;
