/** From a reduction to tables in the controller's units, on its steps, each number with what is left unknown of it. TAB-3 to TAB-9. */
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import { celsius, kilopascals } from '../quantities/quantity.ts';
import type { KilogramsPerCubicMetre } from '../quantities/quantity.ts';
import type { Reduction } from '../reduce/reduction.ts';
import type { GridCell } from '../tables/grid.ts';
import { modelOf } from '../results/line-trials.ts';
import type { Result } from '../uncertainty/budget.ts';
import { carried, combine, sharedPart, stateCarried, withPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { ErrorDraws, monteCarlo } from '../uncertainty/monte-carlo.ts';
import type { TrialModel } from '../uncertainty/monte-carlo.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ControllerAxis, ControllerCell, ControllerDocument, ControllerTable } from './document.ts';
import type { ControllerLayout } from './layout.ts';
import { lookUp } from './lookup.ts';
import { askedFor, changeOf, fluidOf, forFluid } from './other-fluid.ts';
import { rawTables } from './raw.ts';
import type { RawTable } from './raw-table.ts';
import { ErrorRegister } from './travel.ts';
import type { UuidOfName } from './travel.ts';
import { flowFactor, toStep, twelveDigits } from './units.ts';

export interface TablesToBuild {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly reduction: Reduction;
  readonly layout: ControllerLayout;
  /** For a document that leaves the house: the run that the errors are of, and the names of errors. Absent: numbers without their errors. */
  readonly travel?: { readonly runId: string; readonly uuidOf: UuidOfName };
  /** A Monte Carlo beside each number, by this seed. Absent: none. */
  readonly trialsBy?: string;
}

export type TablesBuilt =
  | { readonly ok: true; readonly tables: readonly ControllerTable[]; readonly errorSources: NonNullable<ControllerDocument['errorSources']> }
  /** The density of the run's fluid is not known at its reference temperature, so no volume can be stated. */
  | { readonly ok: false; readonly text: string };

/** What stands beside the numbers of a document that leaves the house. */
interface Further {
  readonly errors: ErrorRegister | null;
  readonly trials: { readonly draws: ErrorDraws; readonly cells: Reduction['cells'] } | null;
}

/** What a table is put into. */
interface InUnit {
  readonly unit: ControllerTable['unit'];
  readonly factor: number;
  readonly step: number | null;
}

const axisUnits: Readonly<Record<ControllerAxis['name'], { readonly unit: ControllerAxis['unit']; readonly factor: number }>> = {
  'supply voltage at the injector': { unit: 'V', factor: 1 },
  'battery voltage': { unit: 'V', factor: 1 },
  'differential pressure': { unit: 'kPa', factor: 1e-3 },
  'pulse width': { unit: 'ms', factor: 1e3 },
  'uncorrected pulse width': { unit: 'ms', factor: 1e3 },
  'mass per pulse': { unit: 'mg', factor: 1e6 },
};

export function controllerTables({ plan, equipment, reduction, layout, travel, trialsBy }: TablesToBuild): TablesBuilt {
  const further: Further = {
    errors: travel === undefined ? null : new ErrorRegister({ id: travel.runId, equipment }, travel.uuidOf),
    trials: trialsBy === undefined ? null : { draws: new ErrorDraws(trialsBy), cells: reduction.cells },
  };
  const at = plan.reduction.referenceC;
  const own = densityOfRun(equipment, celsius(at), kilopascals(equipment.ambientKpa))?.density;
  const density = layout.flow.densityKgPerM3 ?? own;
  if (own === undefined || density === undefined) {
    return { ok: false, text: `The density of the run's fluid is not known at ${at} degC and ${equipment.ambientKpa} kPa, so the tables cannot name it. Check the reference temperature of the plan and the pressure of the room in the equipment record.` };
  }
  const fluid: ControllerTable['fluid'] = { name: equipment.fluid.name, densityKgPerM3: twelveDigits(own), densityAtC: at, basis: 'measured', text: `measured with ${equipment.fluid.name}, lot ${equipment.fluid.lot}` };
  const counted = new Map<string, number>();
  const stated = (raws: readonly RawTable[], of: ControllerTable['fluid'], ccDensity: number): readonly ControllerTable[] =>
    raws.map((raw): ControllerTable => {
      const n = (counted.get(raw.quantity) ?? 0) + 1;
      counted.set(raw.quantity, n);
      return inUnits(raw, n, unitOf(raw, layout, ccDensity as KilogramsPerCubicMetre), of, layout.flow.unit === 'cc/min' ? ccDensity : null, further);
    });
  // First, so that nothing of what was measured is called otherwise because of them.
  const measured = stated(rawTables(reduction, layout), fluid, density);
  const estimates = layout.otherFluids.flatMap((other) => {
    const change = changeOf(other, own, at, equipment);
    return stated(rawTables(reduction, askedFor(layout, change)).map((raw) => forFluid(raw, change, layout.shortPulse)), fluidOf(change), other.densityKgPerM3);
  });
  return { ok: true, tables: [...measured, ...estimates], errorSources: further.errors?.sources ?? [] };
}

function unitOf({ quantity }: RawTable, { deadTime, flow, shortPulse }: ControllerLayout, density: KilogramsPerCubicMetre): InUnit {
  switch (quantity) {
    case 'dead-time':
      return { unit: deadTime.unit, factor: deadTime.unit === 'ms' ? 1e3 : 1e6, step: deadTime.resolution ?? null };
    case 'slope':
    case 'static-flow':
      return { unit: flow.unit, factor: flowFactor(flow.unit, density), step: flow.resolution ?? null };
    case 'short-pulse-correction':
      return { unit: shortPulse.as, factor: 1e6, step: shortPulse.resolution ?? null };
  }
}

/** `ccDensity`: the density that made volume of mass; null: the table is of none. */
function inUnits(raw: RawTable, n: number, unit: InUnit, fluid: ControllerTable['fluid'], ccDensity: number | null, further: Further): ControllerTable {
  const id = `${raw.quantity.replaceAll('-', '_')}_${n}_${raw.of.replace(/[^A-Za-z0-9]+/gu, '_').slice(0, 40)}${fluid.basis === 'estimated' ? '_estimated' : ''}`;
  const axes = raw.axes.map(({ name, values }): ControllerAxis => ({ name, unit: axisUnits[name].unit, values: values.map((v) => twelveDigits(v * axisUnits[name].factor)) }));
  const single = axes.filter(({ values }) => values.length === 1);
  const isFlow = raw.quantity === 'slope' || raw.quantity === 'static-flow';
  const conditions: ControllerTable['conditions'] = [
    ...single.map(({ name, unit: of, values }) => ({ name, value: values[0] ?? Number.NaN, unit: of })),
    ...(raw.pressure === null ? [] : [{ name: 'differential pressure', value: twelveDigits(raw.pressure / 1e3), unit: 'kPa' }]),
    ...(raw.period === 0 ? [] : [{ name: 'period', value: twelveDigits(raw.period * 1e3), unit: 'ms' }]),
    ...(isFlow && ccDensity !== null ? [{ name: 'density that turns mass into volume', value: ccDensity, unit: 'kg/m3' }] : []),
  ];
  const cells = raw.cells.flat().map((cell, i) => cellIn(cell, unit, `cell ${i + 1} of ${id}`, further));
  const kept = axes.filter(({ values }) => values.length > 1);
  return {
    id,
    quantity: raw.quantity,
    title: raw.title,
    of: raw.of,
    unit: unit.unit,
    resolution: unit.step,
    fluid,
    conditions,
    method: raw.method,
    axes: kept,
    cells,
    betweenBreakpoints: mostBetween(raw, kept, cells, unit),
  };
}

/** In the controller's unit and steps; what rounding may be off by is a rectangular part of the uncertainty (JCGM 100:2008, F.2.2.1). */
function cellIn(cell: GridCell, { factor, step }: InUnit, place: string, { errors, trials }: Further): ControllerCell {
  if (cell.kind === 'missing') return { missing: cell.reason, text: cell.text };
  const { value, ...same } = cell.result;
  const unrounded = twelveDigits(value * factor);
  const exact = combine(unrounded, [{ of: cell.carried, sensitivity: factor }]);
  const steps = step === null ? [] : [sharedPart(errorSource('rounding', place), step / Math.sqrt(12))];
  const of = steps.reduce(withPart, exact);
  const stated = step === null ? { ...same, expanded: same.expanded * factor } : stateCarried(of);
  return {
    value: step === null ? unrounded : toStep(unrounded, step),
    unrounded,
    U95: twelveDigits(stated.expanded),
    k: twelveDigits(stated.coverageFactor),
    dof: Number.isFinite(stated.effectiveDof) && stated.effectiveDof < 1e6 ? twelveDigits(stated.effectiveDof) : null,
    basis: cell.basis,
    ...(errors === null ? {} : { parts: errors.partsOf(of).map((part) => [...part]) }),
    ...(trials === null ? {} : { monteCarlo: inUnit(modelOf(cell.carried, trials.cells), factor, carried(0, steps), { ...stateCarried(of), value: unrounded }, trials.draws) }),
  };
}

/** Trials of a number in the controller's unit, with what rounding may be off by. TAB-25 */
function inUnit({ forms, of }: TrialModel, factor: number, rounding: Carried, stated: Result, draws: ErrorDraws): NonNullable<Extract<ControllerCell, { value: number }>['monteCarlo']> {
  const { low, high, trials, tolerance, verdict } = monteCarlo({ forms: [...forms, rounding], of: (values) => factor * of(values) + (values.at(-1) ?? 0) }, stated, draws);
  return { low: twelveDigits(low), high: twelveDigits(high), trials, tolerance, verdict };
}

/** How far a controller that interpolates linearly lies off the curve in the middles between breakpoints. */
function mostBetween(raw: RawTable, axes: readonly ControllerAxis[], cells: readonly ControllerCell[], { factor }: InUnit): ControllerTable['betweenBreakpoints'] {
  let found: { readonly most: number; readonly at: number[] } | null = null;
  raw.between.cells.forEach((row, i) => {
    row.forEach((cell, j) => {
      if (cell.kind === 'missing') return;
      const place = [raw.between.axes[0][i] ?? Number.NaN, raw.between.axes[1][j] ?? Number.NaN].map((v, a) => v * axisUnits[raw.axes[a === 0 ? 0 : 1].name].factor);
      const at = place.filter((_, a) => raw.axes[a === 0 ? 0 : 1].values.length > 1);
      const linear = lookUp({ axes: [...axes], cells: [...cells] }, at);
      if (linear === null) return;
      const off = Math.abs(linear - cell.result.value * factor);
      if (found === null || off > found.most) found = { most: twelveDigits(off), at: at.map(twelveDigits) };
    });
  });
  return axes.length === 0 ? null : found;
}

/** How a controller uses the tables: the equation that they were made for. */
function useOf({ shortPulse, wiringDrop }: ControllerLayout): readonly string[] {
  const correction = {
    us: { width: 'PW = PW0 + correction(PW0), where PW0 = X + M / m', mass: 'PW = X + M / m + correction(M)' },
    mg: { width: 'a pulse of width PW delivers m (PW - X) + correction(PW)', mass: 'PW = X + (M - correction(M)) / m' },
  } as const;
  return [
    'X is the dead time, m the slope, M the mass that is wanted; differential pressure is that across the injector.',
    `With the short-pulse correction ${correction[shortPulse.as][shortPulse.over]}.`,
    ...(wiringDrop === undefined ? ['Voltages are those at the injector.'] : [`Voltages are those of the battery: ${wiringDrop.volts} V more than at the injector, as the customer states (U = ${wiringDrop.expandedVolts} V, k = 2).`]),
    'A number holds for its own breakpoint; between breakpoints linear interpolation adds what `betweenBreakpoints` says at most.',
  ];
}

export interface DocumentParts extends Omit<ControllerDocument, '$schema' | 'tablesVersion' | 'layout' | 'use' | 'tables'> {
  readonly layout: ControllerLayout;
  readonly tables: readonly ControllerTable[];
}

export const controllerDocument = ({ layout, tables, ...parts }: DocumentParts): ControllerDocument => ({ $schema: 'tables.schema.json', tablesVersion: 1, ...parts, layout: layout.name, use: [...useOf(layout)], tables: [...tables] });
