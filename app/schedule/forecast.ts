/**
 * What a plan will come to before anything was measured: it is played on an expected bench (usual dead times, a stated scatter, a usual bend) and reduced like a run.
 * For comparing plans, and for seeing which target no effort reaches (SCH-11).
 */
import { mersenne } from 'pure-rand/generator/mersenne';
import type { Equipment } from '../equipment/equipment.ts';
import { normalQuantile } from '../distributions/distributions.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { assumedStaticFlow, estimateRun, roughDensity } from '../plan/estimate.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { typicalDeadTime } from '../plan/typical.ts';
import { pairEdges, zeroWindow } from '../plan/zero.ts';
import { amperes, celsius, kilopascals, pascals, seconds } from '../quantities/quantity.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { CountingAttempt, LineCell } from '../reduce/reduction.ts';
import { labelOf } from '../uncertainty/source.ts';
import { decideNext } from './schedule.ts';

/** What windows scatter by: relative, and in pulse width, s; and below which open time pulses pass more than their line says, s and s. Of a good bench; common practice, no source. */
const expected = { relative: 7e-4, width: 7e-7, bendsBelow: 1e-3, bend: 1e-5 };

/** One voltage and pressure, over all injectors. Seconds. */
export interface ForecastCell {
  readonly voltage: number;
  readonly pressure: number;
  /** U95 of the dead time: the largest; null: an injector has no line there. */
  readonly expanded: number | null;
  /** What instruments leave of it at any effort. */
  readonly least: number | null;
  /** null: the plan states no targets. */
  readonly wanted: number | null;
  /** What makes the largest part that no window takes off, and what U95 would be without it. */
  readonly largest: string | null;
  readonly without: number | null;
}

export interface Forecast {
  readonly hours: number;
  readonly points: number;
  readonly cells: readonly ForecastCell[];
}

export function forecastOf(plan: Plan, equipment: Equipment): Forecast {
  const windowOf = expectedBench(plan, equipment);
  let points = expandPlan(plan);
  const attempts: CountingAttempt[] = [];
  for (;;) {
    for (const at of points.slice(attempts.length)) attempts.push({ point: at.index, attempt: 1, window: windowOf(at) });
    if (plan.targets === undefined) break;
    const { additions } = decideNext({ plan, equipment, points, attempts, out: new Set() });
    if (additions.length === 0) break;
    const first = points.length;
    points = [...points, ...additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: first + i }))];
  }
  const { cells } = reduceRun({ plan, equipment, points, attempts });
  return {
    hours: estimateRun(plan, points, equipment, assumedStaticFlow).durationS / 3600,
    points: points.length,
    cells: plan.axes.pressureKpa.flatMap((kpa) =>
      plan.axes.voltageV.map((voltage): ForecastCell => {
        const pressure = kilopascals(kpa);
        const here = cells.filter((c) => c.voltage === voltage && c.pressure === pressure);
        const lines = here.filter((c): c is LineCell => c.kind === 'line');
        const wanted = plan.targets === undefined ? null : (plan.targets.atVoltage.find((t) => t.voltageV === voltage)?.deadTimeUs ?? plan.targets.deadTimeUs) * 1e-6;
        const worst = lines.length < here.length ? undefined : lines.toSorted((a, b) => b.deadTime.expanded - a.deadTime.expanded)[0];
        return { voltage, pressure, wanted, ...(worst === undefined ? { expanded: null, least: null, largest: null, without: null } : ofLine(worst)) };
      }),
    ),
  };
}

function ofLine({ deadTime, shared }: LineCell): Pick<ForecastCell, 'expanded' | 'least' | 'largest' | 'without'> {
  const { expanded, u, uShared, coverageFactor } = deadTime;
  const sums = new Map<string, number>();
  for (const { source, onDeadTime } of shared) sums.set(labelOf(source), (sums.get(labelOf(source)) ?? 0) + onDeadTime ** 2);
  const [largest, square = 0] = [...sums].sort((a, b) => b[1] - a[1])[0] ?? [];
  return { expanded, least: coverageFactor * uShared, largest: largest ?? null, without: coverageFactor * Math.sqrt(Math.max(0, u * u - square)) };
}

/** Makes the windows of an expected bench, one after the other; the same for the same plan. */
function expectedBench(plan: Plan, equipment: Equipment): (point: Point) => WindowSummary {
  const random = mersenne(plan.sequence.seed);
  const normal = (): number => normalQuantile(((random.next() >>> 0) + 0.5) / 2 ** 32);
  const ambient = equipment.ambientKpa * 1e3;
  let now = 0;
  return ({ role, voltage, pressure, width, period }) => {
    const density = densityOfRun(equipment, celsius(20), pascals(pressure + ambient))?.density ?? roughDensity;
    const steady = { pressure: { mean: pressure, sd: 0 }, supply: { mean: voltage, sd: 0 }, railTemperature: { mean: celsius(20), sd: 0 }, meterTemperature: { mean: celsius(20), sd: 0 }, missingFrames: 0 };
    const from = now;
    if (role === 'zero') {
      now += zeroWindow(plan);
      return { ...steady, from: seconds(from), to: seconds(now), frames: Math.ceil(plan.link.telemetryHz * (now - from)), edges: 0, firstEdgeAt: seconds(0), lastEdgeAt: seconds(0), partRates: [], pulses: 0 };
    }
    const straight = width < period ? Math.max(1e-5, width - typicalDeadTime(voltage)) : period;
    const open = straight + (straight < expected.bendsBelow ? expected.bend : 0);
    const flow = assumedStaticFlow * Math.sqrt(pressure / kilopascals(400));
    const scatter = Math.hypot(expected.relative, expected.width / open);
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
