/** What a run will take: time, pulses, fluid, frames, disk. An estimate before anything was measured, and no more. */
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { celsius, pascals, seconds } from '../quantities/quantity.ts';
import type { CubicMetres, Kilograms, KilogramsPerSecond, Pascals, Quantity, Seconds, Volts } from '../quantities/quantity.ts';
import { expectedFlow, flowAtPressure, roughDensity } from './flow-of-type.ts';
import { lookEdges, lookPart, shutGraceS, shutSpanS } from './look.ts';
import type { Plan } from './plan.ts';
import { typicalDeadTime } from './typical.ts';
import type { Point } from './points.ts';
import { goesOnUnpurged } from './purge.ts';
import { pairEdges, zeroWindow } from './zero.ts';

/** Bench constants of the estimate; common practice, no source. A real bench is rarely faster. */
const supplySlewVPerS = 10;
const pressureChangeS = 3;
/** The end of purge, settling, window and stop each shows in the frame that follows. */
const framesBetween = 4;
const bytesPerFrame = 20;
const bytesPerPoint = 4_500;
/** What a change of the set pressure is expected to take, s. */
export const pressureChange = ({ condition, link }: Pick<Plan, 'condition' | 'link'>): number => pressureChangeS + condition.steadyS + 2 / link.telemetryHz;
/** What the supply is expected to take from one voltage to another, s. */
export const supplyChange = ({ supply, link }: Pick<Plan, 'supply' | 'link'>, from: number, to: number): number => (from === to ? 0 : Math.abs(to - from) / supplySlewVPerS + supply.steadyS + 2 / link.telemetryHz);
/** From the first command to the first point, with the proof that the dead-man works. */
const beginningS = 8;

/**
 * Expected mass of one pulse: zero up to a typical dead time, then static flow times the rest. The flow follows the root of the pressure.
 */
function expectedMass(staticFlow: KilogramsPerSecond, voltage: Volts, pressure: Pascals, width: Seconds): Kilograms {
  return (flowAtPressure(staticFlow, pressure) * Math.max(0, width - typicalDeadTime(voltage))) as Kilograms;
}

/** Density at 20 degC and each pressure of a plan, by equipment record: a plan has few pressures, and is asked for the same ones at every point. */
const densities = new WeakMap<Equipment, Map<Pascals, number>>();

function densityAt(equipment: Equipment, pressure: Pascals): number {
  let known = densities.get(equipment);
  if (known === undefined) densities.set(equipment, (known = new Map<Pascals, number>()));
  let density = known.get(pressure);
  if (density === undefined) {
    density = densityOfRun(equipment, celsius(20), pascals(pressure + equipment.ambientKpa * 1e3))?.density ?? roughDensity;
    known.set(pressure, density);
  }
  return density;
}

/** Expected frequency of the meter's edges while pulses of this point run. */
export function expectedEdgeRate(staticFlow: KilogramsPerSecond, equipment: Equipment, point: Pick<Point, 'voltage' | 'pressure' | 'width' | 'period'>): Quantity<'Hz'> {
  const volumeFlow = expectedMass(staticFlow, point.voltage, point.pressure, point.width) / densityAt(equipment, point.pressure) / point.period;
  const perCubicMetre = Math.max(...equipment.meter.kFactor.map((k) => k.edgesPerLitre)) * 1e3;
  return (volumeFlow * perCubicMetre) as Quantity<'Hz'>;
}

export type SetPoint = Pick<Point, 'role' | 'injector' | 'voltage' | 'pressure' | 'width' | 'period'>;

/** How long the window of a point will be: until it has its edges and its shortest time, at most its longest. */
export function expectedWindow(plan: Plan, edgeRate: number, role: Point['role']): { readonly length: Seconds; readonly reached: boolean } {
  const { minEdges, minS, maxS } = plan.window;
  if (role === 'look') return { length: seconds(plan.look.windowS), reached: edgeRate * plan.look.windowS >= lookEdges };
  const needed = edgeRate > 0 ? pairEdges(minEdges, role) / edgeRate : Infinity;
  return { length: seconds(Math.min(Math.max(minS, needed), maxS)), reached: needed <= maxS };
}

export interface RunTotals {
  readonly durationS: number;
  readonly pulses: number;
  readonly fluidMl: number;
  readonly points: number;
  readonly telemetryFrames: number;
  readonly diskBytes: number;
}

/** What one point adds to them. */
interface PointTotals {
  readonly windowS: number;
  readonly pulses: number;
  readonly volume: number;
}

/** They depend on the set point and the expected flow alone, and a plan has few of those beside its points. */
function oncePerSetPoint(flowOf: ReturnType<typeof expectedFlow>, make: (point: Point, staticFlow: KilogramsPerSecond) => PointTotals): (point: Point) => PointTotals {
  const known = new Map<string, Map<number, PointTotals>>();
  let last: Point | null = null;
  let ofWidths = new Map<number, PointTotals>();
  return (point) => {
    const staticFlow = flowOf(point.injector);
    // Points of one cell follow each other: their key, a text of numbers, is made once for all that do.
    if (last?.injector !== point.injector || last.voltage !== point.voltage || last.pressure !== point.pressure || last.period !== point.period || last.role !== point.role) {
      const key = `${point.role} ${staticFlow} ${point.voltage} ${point.pressure} ${point.period}`;
      ofWidths = known.get(key) ?? new Map<number, PointTotals>();
      known.set(key, ofWidths);
    }
    last = point;
    const before = ofWidths.get(point.width);
    if (before !== undefined) return before;
    const made = make(point, staticFlow);
    if (point.role !== 'zero') ofWidths.set(point.width, made);
    return made;
  };
}

/** Totals of a whole run without repeats, holds and pauses, by the static flow that its plan expects of each injector (PLAN-94). */
export function estimateRun(plan: Plan, points: readonly Point[], equipment: Equipment): RunTotals {
  const flowOf = expectedFlow(plan);
  const frameS = 1 / plan.link.telemetryHz;
  const purgeWidth = seconds(plan.purge.widthMs * 1e-3);
  const purgeS = plan.purge.pulses * plan.purge.periodMs * 1e-3;
  const ofPoint = oncePerSetPoint(flowOf, (point, staticFlow): PointTotals => {
    // Where the meter has a least flow the rail is shut off as well, if the bench can.
    if (point.role === 'zero') return { windowS: zeroWindow(plan) + (equipment.meter.leastHertz === undefined ? 0 : plan.zero.decayS), pulses: 0, volume: 0 };
    const purged = point.role === 'look' ? 0 : plan.purge.pulses;
    const windowS = expectedWindow(plan, expectedEdgeRate(staticFlow, equipment, point), point.role).length;
    const burst = Math.ceil((plan.settleS + windowS) / point.period);
    const mass =
      burst * expectedMass(staticFlow, point.voltage, point.pressure, point.width) +
      purged * expectedMass(staticFlow, point.voltage, point.pressure, purgeWidth);
    return { windowS, pulses: burst + purged, volume: mass / roughDensity };
  });

  let driven = 0;
  const beforeWindow = (point: Point): number => {
    const goesOn = goesOnUnpurged(plan, driven, point.channel);
    if (point.role !== 'zero') driven = point.channel;
    switch (point.role) {
      case 'zero':
        return plan.zero.settleS;
      case 'look':
        return plan.settleS + (lookPart(point) === 'long' ? shutGraceS + shutSpanS : 0);
      default:
        return (goesOn ? 0 : purgeS) + plan.settleS;
    }
  };

  let durationS = beginningS;
  let pulses = 0;
  let volume = 0;
  let supply = 0;
  let pressure = 0;
  for (const point of points) {
    const { windowS, pulses: ofThis, volume: through } = ofPoint(point);
    // The waits last only where a set point changed; steadiness is watched all the time.
    durationS += supplyChange(plan, supply, point.voltage);
    if (point.pressure !== pressure) durationS += pressureChange(plan);
    supply = point.voltage;
    pressure = point.pressure;
    durationS += beforeWindow(point) + windowS + framesBetween * frameS;
    pulses += ofThis;
    volume += through;
  }
  const telemetryFrames = Math.ceil(durationS * plan.link.telemetryHz);
  return {
    durationS,
    pulses,
    fluidMl: (volume as CubicMetres) * 1e6,
    points: points.length,
    telemetryFrames,
    diskBytes: telemetryFrames * bytesPerFrame + points.length * bytesPerPoint,
  };
}
