/** What a customer's controller takes: breakpoints, units, steps, and how its harness and its fluid differ from the bench's. A document that labs exchange. TAB-1, TAB-2. */
import { z } from 'zod';
import { problemsOf } from '../boundary/problems.ts';
import type { Problem } from '../boundary/problems.ts';
import { oneLine } from '../boundary/text.ts';
import { controllerFlowUnits } from './units.ts';

const MOST_ON_AXIS = 200;
const positive = z.number().positive();
const breakpoints = z.array(positive).max(MOST_ON_AXIS).default([]);

/** Kept apart in words: a spreadsheet, a plain field list and a paste from a spreadsheet. */
const separators = { comma: ',', semicolon: ';', tab: '\t' } as const;
export const separatorOf = ({ csv }: ControllerLayout): string => separators[csv.separator];

/** A number that was written with a point, with the layout's own sign. */
export const withDecimalSign = (text: string, { csv }: Pick<ControllerLayout, 'csv'>): string => (csv.decimal === 'comma' ? text.replace('.', ',') : text);

const layoutSchema = z.strictObject({
  layoutVersion: z.literal(1),
  name: oneLine(200).min(1),
  /** Breakpoints of the controller; empty: the places that were measured. */
  axes: z.strictObject({ voltagesV: breakpoints, pressuresKpa: breakpoints, widthsMs: breakpoints, massesMg: breakpoints }).prefault({}),
  deadTime: z.strictObject({ unit: z.enum(['us', 'ms']).default('ms'), resolution: positive.optional() }).prefault({}),
  flow: z
    .strictObject({
      unit: z.enum(controllerFlowUnits).default('mg/ms'),
      /** For volume: the density that turns mass into it, kg/m3. Absent: that of the run's fluid at the reference temperature and the room's pressure. */
      densityKgPerM3: z.number().min(300).max(2000).optional(),
      resolution: positive.optional(),
    })
    .prefault({}),
  /** as: what is added, time to the pulse width or mass to the line. over: what the controller looks it up by. */
  shortPulse: z.strictObject({ as: z.enum(['us', 'mg']).default('mg'), over: z.enum(['width', 'mass']).default('width'), resolution: positive.optional() }).prefault({}),
  /** Lost between the battery voltage that the controller reads and the injector: its axis is shifted by this. Expanded uncertainty (k = 2). */
  wiringDrop: z.strictObject({ volts: z.number().min(0).max(10), expandedVolts: z.number().min(0).max(10).default(0) }).optional(),
  /** Tables for other fluids too, as estimates by their measured density at a temperature; expanded uncertainty (k = 2). */
  otherFluids: z
    .array(
      z.strictObject({
        name: oneLine(100).min(1),
        densityKgPerM3: z.number().min(300).max(2000),
        expandedKgPerM3: z.number().min(0).max(200),
        atC: z.number().min(-40).max(100),
        /** Kinematic, where it is known. */
        viscosityMm2PerS: z.number().min(0.05).max(100).optional(),
      }),
    )
    .max(5)
    .default([]),
  csv: z
    .strictObject({
      separator: z.enum(['comma', 'semicolon', 'tab']).default('comma'),
      /** Before the decimals of the grids. */
      decimal: z.enum(['point', 'comma']).default('point'),
      /** Which axis of a map goes down the page. */
      down: z.enum(['first', 'second']).default('first'),
      /** Without headings a file is the grid alone, with its breakpoints. */
      headings: z.boolean().default(true),
    })
    .prefault({}),
});

/** With its defaults filled in. */
export type ControllerLayout = z.infer<typeof layoutSchema>;
/** As it is written down, where everything but version and name may be left out. */
export type LayoutDocument = z.input<typeof layoutSchema>;

export const plainLayout: ControllerLayout = layoutSchema.parse({ layoutVersion: 1, name: 'as measured' });

export type LayoutParsed = { readonly ok: true; readonly layout: ControllerLayout } | { readonly ok: false; readonly problems: readonly Problem[] };

/** A layout, or everything that is wrong with the document. */
export function parseLayout(input: unknown): LayoutParsed {
  const parsed = layoutSchema.safeParse(input);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, input) };
  const problems: Problem[] = [];
  const { axes, shortPulse, wiringDrop, csv } = parsed.data;
  if (csv.decimal === 'comma' && csv.separator === 'comma') problems.push({ path: 'csv.separator', text: 'With a decimal comma the columns cannot be separated by commas: choose semicolon or tab.' });
  for (const [name, values] of Object.entries(axes)) {
    const at = values.findIndex((v, i) => i > 0 && v <= (values[i - 1] ?? 0));
    if (at > 0) problems.push({ path: `axes.${name}[${at}]`, text: `Breakpoints must rise, but ${values[at] ?? ''} follows ${values[at - 1] ?? ''}.` });
  }
  if (shortPulse.over === 'mass' && axes.massesMg.length === 0) {
    problems.push({ path: 'axes.massesMg', text: 'A short-pulse correction over mass needs the masses of its axis: nothing that was measured gives them.' });
  }
  const lowest = axes.voltagesV[0];
  if (wiringDrop !== undefined && lowest !== undefined && lowest <= wiringDrop.volts) {
    problems.push({ path: 'axes.voltagesV[0]', text: `With ${wiringDrop.volts} V lost in the wiring nothing is left at the injector of ${lowest} V.` });
  }
  return problems.length > 0 ? { ok: false, problems } : { ok: true, layout: parsed.data };
}

/** For editors, and for programs in other languages. */
export const layoutJsonSchema = (): Record<string, unknown> => ({ title: 'Layout of controller tables, version 1', ...z.toJSONSchema(layoutSchema, { io: 'input', target: 'draft-2020-12' }) });
