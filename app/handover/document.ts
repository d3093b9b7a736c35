/**
 * The neutral table model: what every format is written from, and as JSON the format that says most. Numbers are in the units beside them,
 * with twelve digits, so that each format holds the very same ones (TAB-3).
 */
import { z } from 'zod';

const number = z.number();

const axisSchema = z.strictObject({
  name: z.enum(['supply voltage at the injector', 'battery voltage', 'differential pressure', 'pulse width', 'uncorrected pulse width', 'mass per pulse']),
  unit: z.enum(['V', 'kPa', 'ms', 'mg']),
  /** Rising. */
  values: z.array(number).min(1),
});

const cellSchema = z.union([
  z.strictObject({
    value: number,
    /** Before it was rounded to the controller's step. */
    unrounded: number,
    /** Expanded uncertainty, 95 %, rounding and wiring drop in it, with coverage factor and effective degrees of freedom (null: very many). */
    U95: number,
    k: number,
    dof: number.nullable(),
    basis: z.enum(['measured', 'interpolated', 'estimated', 'extrapolated', 'unresolved']),
    /**
     * What one standard uncertainty of each error does to `unrounded`, with its sign, in the unit of the table: the place of the error in
     * `errorSources`, and the effect; of a random one also its degrees of freedom (null: very many) and the name of the estimate behind it (those of one
     * estimate share its degrees of freedom). Their squares add up to the square of the standard uncertainty. Absent in files from before there were any.
     */
    parts: z.array(z.union([z.tuple([z.int(), number]), z.tuple([z.int(), number, number.nullable(), z.string()])])).optional(),
    /** Monte Carlo (JCGM 101:2008) of `unrounded`: its 95 % interval, and whether it agrees with U within the tolerance, half a unit of the first digit of u. Where it was asked for. */
    monteCarlo: z.strictObject({ low: number, high: number, trials: z.int(), tolerance: number, verdict: z.enum(['agrees', 'differs', 'unsettled']) }).optional(),
  }),
  z.strictObject({ missing: z.string(), text: z.string() }),
]);

const tableSchema = z.strictObject({
  /** Of letters, digits and underscores; unique in the document. */
  id: z.string().regex(/^[A-Za-z][A-Za-z0-9_]*$/),
  quantity: z.enum(['dead-time', 'slope', 'static-flow', 'short-pulse-correction']),
  title: z.string(),
  /** Serial number, or `Set mean`. */
  of: z.string(),
  unit: z.enum(['us', 'ms', 'mg', 'g/s', 'mg/ms', 'g/min', 'cc/min', 'lb/h']),
  /** Step of the controller; null: not rounded. */
  resolution: number.nullable(),
  fluid: z.strictObject({ name: z.string(), densityKgPerM3: number, densityAtC: number, basis: z.enum(['measured', 'estimated']), text: z.string() }),
  /** What else holds in this table. */
  conditions: z.array(z.strictObject({ name: z.string(), value: number, unit: z.string() })),
  method: z.string(),
  /** None: one number. One: a curve. Two: a map. */
  axes: z.array(axisSchema).max(2),
  /** The last axis runs fastest. */
  cells: z.array(cellSchema).min(1),
  /** Most that a controller that interpolates linearly between the breakpoints lies off the curve, in `unit`, and where; null: there is nothing between. */
  betweenBreakpoints: z.strictObject({ most: number, at: z.array(number) }).nullable(),
});

/** An error that moves numbers of this document, and perhaps of others: where the UUID is the same it is one and the same error. */
const errorSourceSchema = z.strictObject({
  uuid: z.string().regex(/^[0-9a-f]{8}-[0-9a-f]{4}-5[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/),
  /** What it is an error of, which of several, and both in words. */
  quantity: z.string(),
  place: z.string(),
  name: z.string(),
  /** Whose it is; serial number of the instrument (or lot of the fluid) and number of its certificate, where it has them. */
  of: z.string(),
  instrument: z.string().nullable(),
  certificate: z.string().nullable(),
  /** shared: type B, the same wherever this source is. random: by scatter. */
  kind: z.enum(['random', 'shared']),
  /** A bound and no more: its errors are rectangular. Else normal: so is an error of known size that was left in (RED-145) for whoever does not know its quantity, and that gives the wider interval. */
  rectangular: z.boolean(),
});

export const documentSchema = z.strictObject({
  $schema: z.literal('tables.schema.json'),
  tablesVersion: z.literal(1),
  software: z.string(),
  run: z.strictObject({ id: z.string(), order: z.string(), beganUtc: z.string(), archiveId: z.string(), archiveHead: z.string() }),
  /** Why nothing of it can be traced to a certificate; empty: it can, as far as the record tells. */
  notTraceable: z.array(z.string()),
  layout: z.string(),
  /** How a controller uses the tables, in words. */
  use: z.array(z.string()),
  errorSources: z.array(errorSourceSchema).optional(),
  tables: z.array(tableSchema),
});

export type ControllerDocument = z.infer<typeof documentSchema>;
export type ControllerTable = z.infer<typeof tableSchema>;
export type ControllerAxis = z.infer<typeof axisSchema>;
export type ControllerCell = z.infer<typeof cellSchema>;

export const documentJsonSchema = (): Record<string, unknown> => ({ title: 'Tables for an engine controller, version 1', ...z.toJSONSchema(documentSchema, { target: 'draft-2020-12' }) });

/** In rows: of a curve one, of a single number one of one. */
export function rowsOfTable({ axes, cells }: ControllerTable): readonly (readonly ControllerCell[])[] {
  const across = axes.at(-1)?.values.length ?? 1;
  return Array.from({ length: cells.length / across }, (_, i) => cells.slice(i * across, (i + 1) * across));
}

export const valueIn = (cell: ControllerCell | undefined): number | null => (cell !== undefined && 'value' in cell ? cell.value : null);
