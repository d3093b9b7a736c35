/** The windows that a bench is expected to give, before they are measured (SCH-11). */
import { mersenne } from 'pure-rand/generator/mersenne';
import { normalQuantile } from '../distributions/distributions.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { expectedFlow, flowAtPressure, roughDensity } from '../plan/flow-of-type.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { typicalDeadTime } from '../plan/typical.ts';
import { pairEdges, zeroWindow } from '../plan/zero.ts';
import { amperes, celsius, pascals, seconds } from '../quantities/quantity.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { knownDeadTime, margin as knownMargin } from './known.ts';

export interface BenchFigures {
  /** Windows scatter by so much: relative, and in pulse width, s. */
  readonly relative: number;
  readonly width: number;
  /** Below this open time pulses pass more than their line says, s, and by how much, s. */
  readonly bendsBelow: number;
  readonly bend: number;
}

/** Of a good bench; common practice, no source. */
export const usualFigures: BenchFigures = { relative: 7e-4, width: 7e-7, bendsBelow: 1e-3, bend: 1e-5 };

/** What the plan knows of a type at a pressure, Pa, as figures of a bench, with its dead times; null: nothing. SCH-19 */
function knownFigures({ targets, injectors }: Plan, injector: number, pressure: number): (BenchFigures & { readonly deadTime: (voltage: number) => number | null }) | null {
  const known = targets?.known.find((k) => k.type === injectors[injector]?.type && Math.abs(k.pressureKpa * 1e3 - pressure) < 1);
  if (known === undefined) return null;
  const { scatterPercent, scatterUs, linearFromOpenMs } = known;
  return { relative: scatterPercent / 100, width: scatterUs * 1e-6, bendsBelow: linearFromOpenMs / 1e3 / knownMargin, bend: usualFigures.bend, deadTime: (voltage) => knownDeadTime(known, voltage) };
}

/** What is usual, or, of a plan that knows its types, the mean of what it knows of them. SCH-19 */
export function expectedFigures(plan: Plan): BenchFigures {
  const known = plan.injectors.flatMap((_, i) => plan.axes.pressureKpa.flatMap((kpa) => knownFigures(plan, i, kpa * 1e3) ?? []));
  if (known.length === 0) return usualFigures;
  const mean = (of: (figures: BenchFigures) => number): number => known.reduce((sum, one) => sum + of(one), 0) / known.length;
  return { relative: mean((f) => f.relative), width: mean((f) => f.width), bendsBelow: mean((f) => f.bendsBelow), bend: usualFigures.bend };
}

/** Makes the windows of an expected bench, one after the other; the same for the same plan. `given`: figures of the bench; absent: what the plan knows of each type, or what is usual. */
export function expectedBench(plan: Plan, equipment: Equipment, given?: BenchFigures): (point: Point) => WindowSummary {
  const random = mersenne(plan.sequence.seed);
  const normal = (): number => normalQuantile(((random.next() >>> 0) + 0.5) / 2 ** 32);
  const ambient = equipment.ambientKpa * 1e3;
  const flowOf = expectedFlow(plan);
  let now = 0;
  return ({ role, injector, voltage, pressure, width, period }) => {
    const density = densityOfRun(equipment, celsius(20), pascals(pressure + ambient))?.density ?? roughDensity;
    const steady = { pressure: { mean: pressure, sd: 0 }, supply: { mean: voltage, sd: 0 }, railTemperature: { mean: celsius(20), sd: 0 }, meterTemperature: { mean: celsius(20), sd: 0 }, missingFrames: 0 };
    const began = now;
    if (role === 'zero') {
      now += zeroWindow(plan);
      return { ...steady, from: seconds(began), to: seconds(now), frames: Math.ceil(plan.link.telemetryHz * (now - began)), edges: 0, firstEdgeAt: seconds(0), lastEdgeAt: seconds(0), partRates: [], pulses: 0 };
    }
    const known = knownFigures(plan, injector, pressure);
    const figures = given ?? known ?? usualFigures;
    const straight = width < period ? Math.max(1e-5, width - (known?.deadTime(voltage) ?? typicalDeadTime(voltage))) : period;
    const open = straight + (straight < figures.bendsBelow ? figures.bend : 0);
    const flow = flowAtPressure(flowOf(injector), pressure);
    const scatter = Math.hypot(figures.relative, figures.width / open);
    let hertz = 0;
    for (let i = 0; i < 10; i += 1) hertz = ((open * flow) / period / density) * kFactorAt(equipment.meter, hertz);
    const measured = hertz * (1 + scatter * normal());
    const edges = Math.max(2, Math.ceil(Math.max(pairEdges(plan.window.minEdges, role), plan.window.minS * hertz)));
    now += plan.settleS + edges / hertz;
    const parts = 10;
    return {
      ...steady,
      from: seconds(now - edges / hertz), to: seconds(now), frames: Math.ceil((plan.link.telemetryHz * edges) / hertz), edges,
      firstEdgeAt: seconds(0.01), lastEdgeAt: seconds(0.01 + edges / measured), pulses: Math.round(edges / hertz / period),
      partRates: Array.from({ length: parts }, () => measured * (1 + scatter * Math.sqrt(parts) * normal())),
      current: { mean: amperes((voltage / 13.5) * (width / period)), sd: 0 },
    };
  };
}
