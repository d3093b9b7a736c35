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

/** Makes the windows of an expected bench, one after the other; the same for the same plan. */
export function expectedBench(plan: Plan, equipment: Equipment, figures: BenchFigures = usualFigures): (point: Point) => WindowSummary {
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
    const straight = width < period ? Math.max(1e-5, width - typicalDeadTime(voltage)) : period;
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
