/** RED-132 */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import { seconds } from '../quantities/quantity.ts';
import { benchCourseOf } from './bench-course.ts';
import { benchDriftSentence } from './bench-drift.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, LineCell, ReducedWindow, Reduction } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const plain = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 450], widthMs: [3, 4, 6, 9, 12] }, 4, {}, { static: { replicates: 3, voltageV: 14, periodMs: 20 } });
const withCorrection = (driftCorrection: Plan['reduction']['driftCorrection'], everyPoints = 30): Plan =>
  planSchema.parse({ ...plain, reduction: { ...plain.reduction, driftCorrection }, invariance: { percent: 1 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 300, widthMs: 6, periodMs: 20, everyPoints } });

/** Drift of the whole bench over the run, relative: 0 at its beginning, 1 at its end. */
type Course = (share: number) => number;
const straight: Course = (share) => 0.01 * (share - 0.5);
const step: Course = (share) => (share < 0.6 ? 0 : 0.006);
const none: Course = () => 0;

function reduced(of: Plan, course: Course, seed = 1): Reduction {
  const normal = normalFrom(seed);
  const all = expandPlan(of);
  const attempts = all.map((point): CountingAttempt => {
    const window = syntheticWindow(point, syntheticInjector(point.injector), of, syntheticEquipment, noErrors, { ...noScatter, relative: 5e-4 }, normal);
    return { point: point.index, attempt: 1, window: { ...window, lastEdgeAt: seconds(window.firstEdgeAt + (window.lastEdgeAt - window.firstEdgeAt) / (1 + course(point.index / (all.length - 1)))) } };
  });
  return reduceRun({ plan: of, equipment: syntheticEquipment, points: all, attempts });
}
const told = ({ benchDrift }: Reduction): Extract<Reduction['benchDrift'], { kind: 'told' }> => {
  if (benchDrift.kind !== 'told') throw new Error(benchDrift.text);
  return benchDrift;
};
const linesOf = ({ cells }: Reduction): LineCell[] => cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
/** By how much slopes over the root of the pressure, relative to the mean of their injector, stand off in the root mean square. */
const spreadOf = (reduction: Reduction): number => {
  const relative = linesOf(reduction).map((c) => c.slope.value / syntheticInjector(c.injector).slope(c.pressure));
  const mean = relative.reduce((a, b) => a + b, 0) / relative.length;
  return Math.sqrt(relative.reduce((sum, r) => sum + (r / mean - 1) ** 2, 0) / relative.length);
};
const drawn = (cell: LineCell): number => Math.abs(cell.shared.find((s) => s.source.quantity === 'bench-drift')?.onSlope ?? 0) / cell.slope.value;

describe('RED-132 correction by the reference line', () => {
  it.each([['straight', straight], ['a step', step]] as const)('takes a drift off every slope and static flow, says so, and counts what is not known of it: %s', (_, course) => {
    const without = reduced(withCorrection('none'), course);
    const corrected = reduced(withCorrection('reference'), course);
    const { takenOff, u } = told(corrected);
    if (takenOff === undefined) throw new Error('nothing was taken off');
    // What the reference point says of the bench is as it was measured.
    expect(u).toBeCloseTo(told(without).u, 9);
    expect(takenOff.u).toBeLessThan(u / 4);
    expect(takenOff.most).toBeGreaterThan(0.002);
    expect(spreadOf(corrected)).toBeLessThan(spreadOf(without) / 2);
    expect(spreadOf(corrected)).toBeLessThan(3 * Math.hypot(takenOff.u, 2e-4));
    for (const cell of linesOf(corrected)) expect(drawn(cell)).toBeCloseTo(takenOff.u, 9);
    for (const flow of corrected.staticFlows) {
      if (flow.kind !== 'static-flow') throw new Error(flow.text);
      expect((flow.shared.find((s) => s.source.quantity === 'bench-drift')?.effect ?? 0) / flow.flow.value).toBeCloseTo(takenOff.u, 9);
    }
    expect(benchDriftSentence(corrected)).toMatch(/^Corrected by the reference line, as the plan asks: every mass was divided by the course of the bench that \d+ reference points tell, by up to 0\.\d+ %\./);
    expect(benchDriftSentence(without)).not.toContain('Corrected');
    // The set's question about time is answered by windows that have it taken off.
    const time = (r: Reduction) => r.invariance.members.find((m) => m.of === 'time');
    expect(time(without)?.called).toBe(true);
    expect(time(corrected)?.called).toBe(false);
  });

  it('leaves reference points as they were measured, and says of each other window what it was divided by', () => {
    const [before, after] = [reduced(withCorrection('none'), straight), reduced(withCorrection('reference'), straight)];
    before.windows.forEach((w, i) => {
      const other = after.windows[i];
      if (w.outcome.kind !== 'mass' || other?.outcome.kind !== 'mass') throw new Error('a window without mass');
      if (w.at.role === 'reference') expect(other).toEqual(w);
      else expect(w.outcome.mass / other.outcome.mass).toBeCloseTo(other.ofBench ?? Number.NaN, 12);
      expect(Math.abs((other.ofBench ?? 1) - 1)).toBeLessThan(0.006);
    });
  });

  it('takes next to nothing off a bench that stands still, and moves no dead time', () => {
    const [before, after] = [reduced(withCorrection('none'), none), reduced(withCorrection('reference'), none)];
    const { takenOff } = told(after);
    expect(takenOff?.most).toBeLessThan(4 * (takenOff?.u ?? 0));
    expect(takenOff?.u).toBeLessThan(2.5e-4);
    linesOf(before).forEach((cell, i) => expect(Math.abs(cell.deadTime.value - (linesOf(after)[i]?.deadTime.value ?? Number.NaN))).toBeLessThan(0.4e-6));
  });

  it('takes nothing off where three reference points are all there is', () => {
    const reduction = reduced(withCorrection('reference', 10_000), straight);
    expect(reduction.benchDrift).toMatchObject({ kind: 'not-told' });
    expect(reduction.windows.every((w) => w.ofBench === undefined)).toBe(true);
  });
});

describe('RED-132 the course between reference points', () => {
  it('is a straight line from each to the next, and stands where the first and the last left it', () => {
    const orders = new Map<ReducedWindow, number>();
    // So well known that the levels are the readings themselves.
    const windows = [1, 1.002, 1.004, 0.998, 1.001].map((mass, i) => {
      const one = { point: i, attempt: 1, at: { role: 'reference', pressure: 3e5, period: 0.02 }, outcome: { kind: 'mass', mass: 1e-5 * mass, uTiming: 1e-6, uRandom: 1e-6 } } as unknown as ReducedWindow;
      orders.set(one, 100 * i);
      return one;
    });
    const course = benchCourseOf(windows, [], orders);
    if (course === null) throw new Error('no course');
    const mean = (1 + 1.002 + 1.004 + 0.998 + 1.001) / 5;
    const at = [[0, 1], [50, 1.001], [75, 1.0015], [100, 1.002], [180, 1.0036], [200, 1.004], [250, 1.001], [300, 0.998], [390, 1.0007], [400, 1.001], [-50, 1], [1000, 1.001]] as const;
    for (const [order, level] of at) expect(course.factorAt(order), String(order)).toBeCloseTo(level / mean, 6);
    expect(course.takenOff.most).toBeCloseTo(1 - 0.998 / mean, 6);
    // Nobody saw what was between: the rectangle of every step.
    expect(course.takenOff.u / Math.sqrt((4e-6 + 4e-6 + 36e-6 + 9e-6) / 12 / 4)).toBeCloseTo(1, 2);
  });
});
