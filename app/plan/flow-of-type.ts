/** What flow is expected of the injectors of a plan before anything was measured. PLAN-94 */
import { kilopascals } from '../quantities/quantity.ts';
import type { KilogramsPerSecond, Pascals } from '../quantities/quantity.ts';
import { ofType } from './of-type.ts';
import type { TypeOfPlan } from './of-type.ts';
import type { Plan } from './plan.ts';

/** Static flow at 400 kPa where nobody said better: a port injector of middle size. Common practice, no source. */
export const assumedStaticFlow = 4e-3 as KilogramsPerSecond;

/** Density for turning an expected mass into a volume: n-heptane near 20 degC, good enough for an estimate. */
export const roughDensity = 684;

/** The pressure to which an expected static flow belongs wherever none is named. */
const flowPressure = kilopascals(400);

/**
 * Static flow of a type, kg/s at 400 kPa in n-heptane; null: it states none. Through an orifice mass flow goes by the root of pressure and
 * density (Bernoulli), so what was stated in another fluid is right to some percent and no more.
 */
export function statedStaticFlow(of: Pick<TypeOfPlan, 'staticFlowGPerMin' | 'flowPressureKpa' | 'flowDensityKgPerM3'> | undefined): KilogramsPerSecond | null {
  if (of?.staticFlowGPerMin === undefined) return null;
  const atPressure = of.flowPressureKpa === undefined ? 1 : Math.sqrt(flowPressure / kilopascals(of.flowPressureKpa));
  const inFluid = of.flowDensityKgPerM3 === undefined ? 1 : Math.sqrt(roughDensity / of.flowDensityKgPerM3);
  return ((of.staticFlowGPerMin / 6e4) * atPressure * inFluid) as KilogramsPerSecond;
}

/** Of an injector of the plan, kg/s at 400 kPa, by its type; where that states none, `assumedStaticFlow`. */
export type ExpectedFlow = (injector: number) => KilogramsPerSecond;

export function expectedFlow(plan: Pick<Plan, 'injectors' | 'types'>): ExpectedFlow {
  const flows = plan.injectors.map(({ type }) => statedStaticFlow(ofType(plan, type)) ?? assumedStaticFlow);
  return (injector) => flows[injector] ?? assumedStaticFlow;
}

/** The same at another pressure. */
export const flowAtPressure = (staticFlow: KilogramsPerSecond, pressure: Pascals): KilogramsPerSecond => (staticFlow * Math.sqrt(pressure / flowPressure)) as KilogramsPerSecond;
