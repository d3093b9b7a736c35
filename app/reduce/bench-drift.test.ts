import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import { seconds } from '../quantities/quantity.ts';
import { benchDriftSentence } from './bench-drift.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, LineCell, Reduction } from './reduction.ts';
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
const drawn = (cell: LineCell): number => Math.abs(cell.shared.find((s) => s.source.quantity === 'bench-drift')?.onSlope ?? 0) / cell.slope.value;

describe('a bench that drifts', () => {
  it('RED-83: has the standard deviation of its drift in every slope and static flow, and in no dead time', () => {
    for (const drift of [0.01, -0.02]) {
      const reduction = reduced(drift, 1);
      const { u, p, windows, overRun } = told(reduction);
      expect(windows).toBe(points.filter((one) => one.role === 'reference').length);
      expect(u / (Math.abs(drift) / Math.sqrt(12))).toBeGreaterThan(0.85);
      expect(u / (Math.abs(drift) / Math.sqrt(12))).toBeLessThan(1.25);
      expect(overRun / drift).toBeGreaterThan(0.8);
      expect(p).toBeLessThan(1e-6);
      for (const cell of linesOf(reduction)) {
        expect(drawn(cell)).toBeCloseTo(u, 9);
        expect(cell.shared.find((s) => s.source.quantity === 'bench-drift')?.onDeadTime).toBe(0);
      }
      for (const flow of reduction.staticFlows) {
        if (flow.kind !== 'static-flow') throw new Error(flow.text);
        expect((flow.shared.find((s) => s.source.quantity === 'bench-drift')?.effect ?? 0) / flow.flow.value).toBeCloseTo(u, 9);
      }
      expect(benchDriftSentence(reduction.benchDrift)).toContain('Every slope and static flow has that');
    }
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
    expect(benchDriftSentence(benchDrift)).toContain('do not tell what the bench drifted');
    const none = reduced(0.01, 1, { of: plain });
    expect(benchDriftSentence(none.benchDrift)).toContain('Give the plan a reference');
    expect(linesOf(none).every((c) => drawn(c) === 0)).toBe(true);
  });
});
