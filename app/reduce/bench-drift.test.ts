import { describe, expect, it } from 'vitest';
import { fAbove } from '../distributions/distributions.ts';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { seconds } from '../quantities/quantity.ts';
import { benchDriftOf, benchDriftSentence } from './bench-drift.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, LineCell, ReducedWindow, Reduction } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const plain = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 450], widthMs: [3, 4, 6, 9, 12] }, 4, {}, { static: { replicates: 3, voltageV: 14, periodMs: 20 } });
const plan = planSchema.parse({ ...plain, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 300, widthMs: 6, periodMs: 20, everyPoints: 30 } });
const points = expandPlan(plan);

/** `drift`: relative, over the whole run, straight; nought in its mean. `wrong`: relative error of one reference window in the middle. */
function reduced(drift: number, seed: number, { wrong = 0, of = plan }: { readonly wrong?: number; readonly of?: typeof plan } = {}): Reduction {
  const normal = normalFrom(seed);
  const all = expandPlan(of);
  const references = all.filter((p) => p.role === 'reference');
  const bad = references[references.length >> 1];
  const attempts = all.map((point): CountingAttempt => {
    const window = syntheticWindow(point, syntheticInjector(point.injector), of, syntheticEquipment, noErrors, { ...noScatter, relative: 5e-4 }, normal);
    const factor = 1 + drift * (point.index / (all.length - 1) - 0.5) + (point === bad ? wrong : 0);
    return { point: point.index, attempt: 1, window: { ...window, lastEdgeAt: seconds(window.firstEdgeAt + (window.lastEdgeAt - window.firstEdgeAt) / factor) } };
  });
  return reduceRun({ plan: of, equipment: syntheticEquipment, points: all, attempts });
}

const told = ({ benchDrift }: Reduction): Extract<Reduction['benchDrift'], { kind: 'told' }> => {
  if (benchDrift.kind !== 'told') throw new Error(benchDrift.text);
  return benchDrift;
};
const linesOf = ({ cells }: Reduction): LineCell[] => cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
const leftIn = (cell: LineCell): number => (cell.shared.find((s) => s.source.quantity === 'bench-course')?.onSlope ?? 0) / cell.slope.value;
const drawn = (cell: LineCell): number => Math.abs(cell.shared.find((s) => s.source.quantity === 'bench-drift')?.onSlope ?? 0) / cell.slope.value;

describe('a bench that drifts', () => {
  it('RED-83, RED-144: has what it was off by in every slope and static flow, each at its own time, and in no dead time', () => {
    for (const drift of [0.01, -0.02]) {
      const reduction = reduced(drift, 1);
      const { u, p, windows, overRun } = told(reduction);
      expect(windows).toBe(points.filter((one) => one.role === 'reference').length);
      expect(u / (Math.abs(drift) / Math.sqrt(12))).toBeGreaterThan(0.85);
      expect(u / (Math.abs(drift) / Math.sqrt(12))).toBeLessThan(1.25);
      expect(overRun / drift).toBeGreaterThan(0.8);
      expect(p).toBeLessThan(1e-6);
      for (const cell of linesOf(reduction)) {
        const { value } = cell.slope;
        const truth = value / syntheticInjector(cell.injector).slope(cell.pressure) - 1;
        expect(Math.abs(leftIn(cell) - truth)).toBeLessThan(4 * Math.hypot(cell.slope.uRandom / value, drawn(cell)));
        expect(drawn(cell)).toBeLessThan(u / 5);
        for (const quantity of ['bench-course', 'bench-drift']) expect(cell.shared.find((s) => s.source.quantity === quantity)?.onDeadTime ?? 0).toBe(0);
      }
      for (const flow of reduction.staticFlows) {
        if (flow.kind !== 'static-flow') throw new Error(flow.text);
        // In the middle of the run and at its end.
        expect((flow.shared.find((s) => s.source.quantity === 'bench-course')?.effect ?? 0) / flow.flow.value).toBeCloseTo(flow.pressure === 300e3 ? 0 : 0.97 * (drift / 2), 2.9);
      }
      expect(benchDriftSentence(reduction)).toMatch(/stood off its mean over the run, by up to 0\.\d+ %\. That is not taken off/);
    }
  });

  it('RED-144: leaves its difference between both in Qs over slope', () => {
    const [still, drifting] = [reduced(0, 1), reduced(0.01, 1)];
    linesOf(drifting).forEach((cell, i) => {
      const off = (cell.staticToSlope?.value ?? Number.NaN) / (linesOf(still)[i]?.staticToSlope?.value ?? Number.NaN) - 1;
      const flow = drifting.staticFlows.find((f) => f.injector === cell.injector && f.pressure === cell.pressure);
      if (flow?.kind !== 'static-flow') throw new Error('no flow');
      const held = (flow.shared.find((s) => s.source.quantity === 'bench-course')?.effect ?? 0) / flow.flow.value;
      // The difference of both is in it, as it is, and not the root of their squares.
      expect(Math.abs(off - held + leftIn(cell))).toBeLessThan(4 * Math.hypot(cell.slope.uRandom / cell.slope.value, drawn(cell)));
      const { u, value } = cell.staticToSlope ?? { u: Number.NaN, value: 1 };
      expect(u / value).toBeLessThan(1.2 * Math.hypot(held - leftIn(cell), cell.slope.uRandom / cell.slope.value, flow.scatter.u / flow.flow.value, 2 * drawn(cell)));
    });
  });

  it('RED-146: is said to make most of what is not known of slopes where it does, and that it can be taken off', () => {
    expect(benchDriftSentence(reduced(0.03, 1))).toMatch(/ It makes up \d\d % of the variance of slopes: correct it by the reference point \(reduction\.driftCorrection: reference\)\.$/);
    expect(benchDriftSentence(reduced(0.001, 1))).not.toContain('variance of slopes');
    expect(benchDriftSentence(reduced(0.001, 1))).toContain('That is not taken off');
  });

  it('RED-83: holds slope and static over slope of most lines, which it did not without', () => {
    let inside = 0;
    let without = 0;
    let of = 0;
    for (const seed of [2, 3, 4]) {
      for (const cell of linesOf(reduced(0.01, seed))) {
        const truth = syntheticInjector(cell.injector).slope(cell.pressure);
        const error = Math.abs(cell.slope.value - truth);
        of += 1;
        inside += error <= cell.slope.expanded ? 1 : 0;
        without += error <= 1.96 * Math.hypot(cell.slope.uRandom, 0) ? 1 : 0;
      }
    }
    expect(inside / of).toBeGreaterThan(0.9);
    expect(without / of).toBeLessThan(0.6);
  });

  it('RED-83: adds little where nothing drifts, and one wrong reference window is no drift', () => {
    const us = [5, 6, 7, 8, 9, 10].map((seed) => told(reduced(0, seed)).u);
    for (const u of us) expect(u).toBeLessThan(4e-4);
    expect(us).toContain(0);
    expect(told(reduced(0, 5, { wrong: 0.03 })).u).toBeLessThan(4e-4);
  });

  it('RED-83: is not told by too few reference points, and the reduction says so', () => {
    const { benchDrift } = reduced(0.01, 1, { of: planSchema.parse({ ...plan, reference: { ...plan.reference, everyPoints: 500 } }) });
    expect(benchDriftSentence({ benchDrift, cells: [] })).toContain('do not tell what the bench drifted');
    const none = reduced(0.01, 1, { of: plain });
    expect(benchDriftSentence(none)).toContain('Give the plan a reference');
    expect(linesOf(none).every((c) => drawn(c) === 0)).toBe(true);
  });
});

/** Reference windows by hand: masses of 1 in units of a mass, each known to `u` of itself. */
describe('RED-83 figures', () => {
  const references = (masses: readonly number[], u = 1e-4, at: Partial<Point> = {}): readonly ReducedWindow[] =>
    masses.map((mass, point) => ({ point, attempt: 1, at: { role: 'reference', pressure: 4e5, period: 0.02, ...at }, outcome: { kind: 'mass', mass, uRandom: u, uTiming: u / 100 } }) as unknown as ReducedWindow);
  const model = { constant: 0, relative: 1e-8, dof: 40, from: 'replicates', pressure: 4e5, period: 0.02 } as unknown as Reduction['scatter'][number];
  const drifted = (windows: readonly ReducedWindow[], scatter: Reduction['scatter'] = [model], orders: readonly number[] = []) => {
    const drift = benchDriftOf(windows, scatter, new Map(windows.map((w, i) => [w, orders[i] ?? i])));
    if (drift.kind !== 'told') throw new Error(drift.text);
    return drift;
  };

  it('their variance less that of windows, its F, and the slope over the run', () => {
    // Standard deviation of 1 to 5: sqrt(2.5).
    const [line, percent] = [[0.98, 0.99, 1, 1.01, 1.02], 0.01];
    const { u, overRun, p, windows } = drifted(references(line));
    expect(windows).toBe(5);
    expect(u).toBeCloseTo(Math.sqrt(2.5 * percent ** 2 - 1e-8), 12);
    expect(overRun).toBeCloseTo(0.04, 12);
    expect(p).toBeCloseTo(fAbove((2.5 * percent ** 2) / 1e-8, 4, 40), 15);
    // The order is that of measuring.
    expect(drifted(references(line), [model], [4, 3, 2, 1, 0]).overRun).toBeCloseTo(-0.04, 12);
    // Less than windows scatter by is nothing.
    const still = drifted(references([1, 1.00001, 1, 0.99999, 1]));
    expect(still.u).toBe(0);
    expect(benchDriftSentence({ benchDrift: still, cells: [] })).toBe('The 5 reference points differ by no more than windows scatter.');
    expect(benchDriftSentence({ benchDrift: drifted(references(line)), cells: [] })).toMatch(/^The 5 reference points differ by 1\.581 % .* less than 0\.05 % of runs/);
  });

  it('one that is a hundred times off its neighbours is left out; a step is not, however large, nor the first and last', () => {
    const steady = [1, 1, 1, 1.03, 1, 1, 1];
    expect(drifted(references(steady))).toMatchObject({ windows: 6, u: 0 });
    // Six standard deviations of its distance from two neighbours.
    const off = 6 * Math.sqrt(1.5) * 1e-4;
    expect(drifted(references([1, 1, 1, 1 + 0.99 * off, 1, 1])).windows).toBe(6);
    expect(drifted(references([1, 1, 1, 1 + 1.02 * off, 1, 1])).windows).toBe(5);
    expect(drifted(references([1, 1, 1, 1 - 1.02 * off, 1, 1])).windows).toBe(5);
    expect(drifted(references([1, 1, 1, 1.03, 1.03, 1.03])).windows).toBe(6);
    expect(drifted(references([1.03, 1, 1, 1, 1, 1.03])).windows).toBe(6);
    // What goes on beside it: off by less than twice what its neighbours differ by.
    expect(drifted(references([1, 1, 1.02, 1.01, 1.01])).windows).toBe(5);
  });

  it('where no line has told the scatter of windows it is that inside them, never below their timing', () => {
    const windows = references([0.98, 0.99, 1, 1.01, 1.02], 5e-3);
    const found = 2.5e-4;
    expect(drifted(windows, []).u).toBeCloseTo(Math.sqrt(found - 25e-6), 12);
    expect(drifted(windows, [{ ...model, pressure: 5e5 } as typeof model]).u).toBeCloseTo(Math.sqrt(found - 25e-6), 12);
    expect(drifted(windows, [{ ...model, period: 0.03 } as typeof model]).u).toBeCloseTo(Math.sqrt(found - 25e-6), 12);
    expect(drifted(windows).u).toBeCloseTo(Math.sqrt(found - 1e-8), 12);
    // 0.5 % of timing in place of the 0.01 % of the model.
    const coarse = windows.map((w) => ({ ...w, outcome: { ...w.outcome, uTiming: 5e-3 } }) as ReducedWindow);
    expect(drifted(coarse).u).toBeCloseTo(Math.sqrt(found - 25e-6), 12);
  });

  it('four are enough, three are not; windows without a mass do not count', () => {
    const few = references([1, 1.01, 1.02]);
    expect(benchDriftOf(few, [model], new Map())).toMatchObject({ kind: 'not-told', text: expect.stringContaining('3 reference points do not tell') as string });
    const four = references([1, 1.01, 1.02, 1.03]);
    expect(benchDriftOf(four, [model], new Map())).toMatchObject({ kind: 'told', windows: 4 });
    const refused = four.map((w, i) => (i === 1 ? ({ ...w, outcome: { kind: 'no-mass', reason: 'no-edges', text: '' } }) as unknown as ReducedWindow : w));
    expect(benchDriftOf(refused, [model], new Map())).toMatchObject({ kind: 'not-told' });
  });
});
