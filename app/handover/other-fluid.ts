/**
 * The same injector with another fluid, told from its measured density: an estimate, in tables of its own, never in those of what was measured. TAB-20.
 *
 * An orifice of the same discharge coefficient passes mass as the root of the density. What viscosity does to the coefficient, and the fluid to the motion of the
 * needle, nobody measured; the parts that stand for them are estimates without a source.
 */
import { densityUncertainty } from '../fluid/density-of-run.ts';
import type { Equipment } from '../equipment/equipment.ts';
import type { KilogramsPerCubicMetre, KilogramsPerSecond } from '../quantities/quantity.ts';
import { gridValue } from '../tables/grid.ts';
import type { GridCell } from '../tables/grid.ts';
import { estimateForFluid } from '../tables/units.ts';
import { combine, sharedPart, withPart } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ControllerTable } from './document.ts';
import type { ControllerLayout } from './layout.ts';
import type { RawTable } from './raw-table.ts';

export type OtherFluidOfLayout = ControllerLayout['otherFluids'][number];

/** Viscosities within this factor of each other are covered by what `estimateForFluid` allows for the discharge coefficient; beyond it grows with the logarithm. */
const likeViscosity = 1.5;
/** Standard uncertainty of a dead time in another fluid, s, and of a short-pulse correction, relative. */
const onDeadTime = 10e-6;
const onShortPulse = 0.1;

/** n-heptane at 400 kPa gauge, mm2/s, 5 to 45 degC, within 0.01 %: fit to Michailidou et al., J. Phys. Chem. Ref. Data 43 (2014) 023103, over the density of Span and Wagner (2003). */
export function heptaneViscosity(celsius: number): number {
  const x = celsius - 20;
  const dynamic = Math.exp(-0.88206472 - 0.011148589 * x + 3.3388444e-5 * x ** 2 - 1.6334988e-7 * x ** 3);
  const density = 684.19704 - 0.83895956 * x - 3.3414443e-4 * x ** 2 - 2.6895555e-6 * x ** 3;
  return (dynamic / density) * 1e3;
}

export interface FluidChange {
  readonly fluid: OtherFluidOfLayout;
  /** Mass flow over that of the run's fluid, and the relative standard uncertainty of this factor. */
  readonly factor: number;
  readonly u: number;
  readonly text: string;
}

/** `own`: density of the run's fluid at the reference temperature of the plan, `atC`. */
export function changeOf(fluid: OtherFluidOfLayout, own: KilogramsPerCubicMetre, atC: number, equipment: Equipment): FluidChange {
  const { estimate, relativeUncertainty, text } = estimateForFluid(1 as KilogramsPerSecond, own, fluid.densityKgPerM3 as KilogramsPerCubicMetre);
  const ratio = fluid.viscosityMm2PerS === undefined ? 1 : fluid.viscosityMm2PerS / heptaneViscosity(atC);
  const discharge = relativeUncertainty * Math.max(1, Math.abs(Math.log(ratio)) / Math.log(likeViscosity));
  // The error of the own density is in the measured mass too, with the other sign; as an error of its own it makes U a little too large.
  const densities = Math.hypot(fluid.expandedKgPerM3 / 2 / fluid.densityKgPerM3, densityUncertainty(equipment.fluid)) / 2;
  return { fluid, factor: estimate, u: Math.hypot(discharge, densities), text };
}

/** The layout by which the run's own fluid is asked where the other delivers the masses of the customer's axis. */
export const askedFor = (layout: ControllerLayout, { factor }: FluidChange): ControllerLayout => ({ ...layout, axes: { ...layout.axes, massesMg: layout.axes.massesMg.map((m) => m / factor) } });

/** A table of the run's fluid as an estimate for the other. */
export function forFluid(raw: RawTable, change: FluidChange, shortPulse: ControllerLayout['shortPulse']): RawTable {
  const { factor, u } = change;
  const inMass = raw.quantity === 'slope' || raw.quantity === 'static-flow' || (raw.quantity === 'short-pulse-correction' && shortPulse.as === 'mg');
  const turned = (cell: GridCell): GridCell => {
    if (cell.kind === 'missing') return cell;
    const { value } = cell.carried;
    const f = inMass ? factor : 1;
    const more = raw.quantity === 'dead-time' ? onDeadTime : raw.quantity === 'short-pulse-correction' ? Math.abs(value * f) * Math.hypot(onShortPulse, inMass ? u : 0) : value * f * u;
    const basis = cell.basis === 'measured' || cell.basis === 'interpolated' ? 'estimated' : cell.basis;
    return gridValue(withPart(combine(value * f, [{ of: cell.carried, sensitivity: f }]), sharedPart(errorSource('other-fluid', `${raw.quantity} of ${change.fluid.name}`), more)), basis);
  };
  const [first, second] = raw.axes;
  const scale = second.name === 'mass per pulse' ? factor : 1;
  const between = raw.between.axes;
  return {
    ...raw,
    title: `${raw.title}, estimated for ${change.fluid.name}`,
    axes: [first, { ...second, values: second.values.map((v) => v * scale) }],
    cells: raw.cells.map((row) => row.map(turned)),
    between: { axes: [between[0], between[1].map((v) => v * scale)], cells: raw.between.cells.map((row) => row.map(turned)) },
  };
}

export const fluidOf = ({ fluid, text }: FluidChange): ControllerTable['fluid'] => ({
  name: fluid.name, densityKgPerM3: fluid.densityKgPerM3, densityAtC: fluid.atC, basis: 'estimated',
  text: `${text}${fluid.viscosityMm2PerS === undefined ? '' : ` Its kinematic viscosity is ${fluid.viscosityMm2PerS} mm2/s.`} Dead times are those measured, within ${onDeadTime * 1e6} us (k = 1), an estimate.`,
});
