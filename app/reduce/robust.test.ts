/** Scatter and lines that one bad window in a hundred does not spoil: rules RED-80 to RED-82. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { seconds } from '../quantities/quantity.ts';
import { capOf, weightOf } from '../statistics/robust.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, LineCell, Reduction } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';
import { fitVarianceModel, varianceAt } from './variance-model.ts';
import { lightWindowSentences } from './window-words.ts';

const scatter = { ...noScatter, relative: 1e-3, width: 1e-6 };
const widthMs = [2, 2.5, 3, 4, 5, 6, 8, 10, 12];

/** `error`: relative error of the mass of a point; `steadier`: parts of a window differ by so much less than windows do. */
function reduced(plan: Plan, { error = () => 0, seed = 1, steadier = 1 }: { readonly error?: (point: Point) => number; readonly seed?: number; readonly steadier?: number }): Reduction {
  const normal = normalFrom(seed);
  const points = expandPlan(plan);
  const attempts = points.map((point): CountingAttempt => {
    const window = syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, scatter, normal);
    const mean = window.partRates.reduce((sum, r) => sum + r, 0) / window.partRates.length;
    const length = (window.lastEdgeAt - window.firstEdgeAt) / (1 + error(point));
    return { point: point.index, attempt: 1, window: { ...window, lastEdgeAt: seconds(window.firstEdgeAt + length), partRates: window.partRates.map((r) => mean + (r - mean) / steadier) } };
  });
  return reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
}

const linesOf = ({ cells }: Reduction): LineCell[] =>
  cells.map((c) => {
    if (c.kind !== 'line') throw new Error(c.text);
    return c;
  });
const meanU = (reduction: Reduction): number => linesOf(reduction).reduce((sum, c) => sum + c.deadTime.expanded, 0) / reduction.cells.length;

describe('the scatter model', () => {
  it('RED-80: caps and corrects as algorithm S does', () => {
    // Limit factor and adjustment factor of ISO 13528 / ISO 5725-5, algorithm S (from memory).
    for (const [dof, limit, adjustment] of [[1, 1.645, 1.097], [2, 1.517, 1.054], [3, 1.444, 1.039], [4, 1.395, 1.032]] as const) {
      expect(Math.sqrt(capOf(dof).limit)).toBeCloseTo(limit, 3);
      expect(1 / Math.sqrt(capOf(dof).mean)).toBeCloseTo(adjustment, 3);
      expect(capOf(dof).efficiency).toBeGreaterThan(0.6);
      expect(capOf(dof).efficiency).toBeLessThan(1);
    }
  });

  it('RED-80: finds the scatter of good groups, with and without bad ones among them', () => {
    const normal = normalFrom(3);
    const groups = Array.from({ length: 600 }, (_, i) => {
      const mass = 1e-6 * (1 + (i % 12));
      const sd = Math.hypot(2e-9, 1e-3 * mass);
      const [a, b, c] = [normal(), normal(), normal()].map((z) => sd * z) as [number, number, number];
      const mean = (a + b + c) / 3;
      return { mass, variance: ((a - mean) ** 2 + (b - mean) ** 2 + (c - mean) ** 2) / 2, dof: 2 };
    });
    const spoilt = groups.map((g, i) => (i % 33 === 0 ? { ...g, variance: (0.06 * g.mass) ** 2 } : g));
    for (const mass of [2e-6, 1e-5]) {
      const truth = 4e-18 + 1e-6 * mass * mass;
      expect(varianceAt(fitVarianceModel(groups, 'replicates'), mass) / truth).toBeGreaterThan(0.85);
      expect(varianceAt(fitVarianceModel(groups, 'replicates'), mass) / truth).toBeLessThan(1.15);
      expect(varianceAt(fitVarianceModel(spoilt, 'replicates'), mass) / truth).toBeLessThan(1.25);
    }
  });
});

describe('windows far from their repeats', () => {
  const plan = syntheticPlan({ voltageV: [9, 12, 14], widthMs }, 4, {}, { static: { replicates: 3, voltageV: 14, periodMs: 20 } });
  const points = expandPlan(plan);
  const bad = new Set(points.filter((p) => p.role !== 'zero' && p.index % 97 === 50).map((p) => p.index));
  const error = (size: number) => (point: Point) => (bad.has(point.index) ? (point.index % 2 === 0 ? size : -size) : 0);
  const clean = reduced(plan, {});

  it.each([0.03, 0.1])('RED-81: do not widen what the good ones say: gross errors of %f', (size) => {
    expect(bad.size).toBeGreaterThan(2);
    const spoilt = reduced(plan, { error: error(size) });
    expect(meanU(spoilt) / meanU(clean)).toBeLessThan(1.15);
    linesOf(spoilt).forEach((cell, i) => expect(Math.abs(cell.deadTime.value - (linesOf(clean)[i]?.deadTime.value ?? Number.NaN))).toBeLessThan(3e-6));
    expect(spoilt.lightWindows.filter((w) => w.weight === 0).map((w) => w.point)).toEqual([...bad]);
    for (const w of spoilt.lightWindows.filter((one) => bad.has(one.point))) expect(Math.abs(Math.abs(w.mass / w.expected - 1) - size)).toBeLessThan(0.01);
  });

  it('RED-81: are named with what to do, and not named where there are none', () => {
    const text = lightWindowSentences(reduced(plan, { error: error(0.03) }).lightWindows).join(' ');
    for (const point of bad) expect(text).toContain(`${point + 1} (`);
    expect(text).toContain('measure the points again');
    expect(text).not.toContain('NaN');
    expect(clean.lightWindows.length).toBeLessThanOrEqual(0.01 * points.length);
    expect(lightWindowSentences([])).toEqual([]);
  });

  it('RED-81: of a static flow do not move its mean', () => {
    const [held] = points.filter((p) => p.role === 'static');
    const { staticFlows, lightWindows } = reduced(plan, { error: (p) => (p.index === held?.index ? 0.03 : 0) });
    const [flow, before] = [staticFlows[0], clean.staticFlows[0]];
    if (flow?.kind !== 'static-flow' || before?.kind !== 'static-flow') throw new Error('no static flow');
    expect(Math.abs(flow.flow.value / before.flow.value - 1)).toBeLessThan(2e-3);
    expect(lightWindows.map((w) => w.point)).toContain(held?.index);
  });

  it('RED-81: are told by the widths beside them where two of three agree on something wrong, and where two contradict each other', () => {
    const wrong = (point: Point): number => (point.role === 'measure' && point.injector === 1 && point.voltage === 12 && point.width === 8e-3 && point.replicate < 2 ? 0.1 : 0);
    const twice = reduced(plan, { error: wrong });
    expect(meanU(twice) / meanU(clean)).toBeLessThan(1.15);
    expect(twice.lightWindows.filter((w) => w.weight === 0).map((w) => w.point)).toEqual(points.filter((p) => wrong(p) > 0).map((p) => p.index));
    const pairs = syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates: 2 }, 4);
    const one = (point: Point): number => (point.role === 'measure' && point.injector === 1 && point.voltage === 12 && point.width === 8e-3 && point.replicate === 1 ? -0.1 : 0);
    expect(reduced(pairs, { error: one }).lightWindows.filter((w) => w.weight === 0).map((w) => w.point)).toEqual(expandPlan(pairs).filter((p) => one(p) < 0).map((p) => p.index));
  });

  it('RED-81: that stand alone are told by the line', () => {
    const single = syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates: 1 }, 4, { linearFromMs: 2 });
    const one = (point: Point): number => (point.role === 'measure' && point.injector === 2 && point.voltage === 14 && point.width === 5e-3 ? 0.1 : 0);
    const { lightWindows } = reduced(single, { error: one });
    expect(lightWindows.map((w) => ({ point: w.point, against: w.against }))).toEqual(expandPlan(single).filter((p) => one(p) > 0).map((p) => ({ point: p.index, against: 'line' })));
    expect(lightWindowSentences(lightWindows)[0]).toContain('the line through the others');
  });

  it('RED-81: count whole up to three standard deviations, and not at all from six', () => {
    expect([0, -2.9, 3, 4.5, -6, 40].map(weightOf)).toEqual([1, 1, 1, 0.5, 0, 0]);
  });
});

describe('widths that were measured once', () => {
  it('RED-82: are weighed by what they miss the line through their neighbours by, where windows repeat worse than they are steady', () => {
    const plan = syntheticPlan({ voltageV: [9, 12, 14], widthMs, replicates: 1 }, 4);
    const [asSteady, steadier] = [reduced(plan, {}), reduced(plan, { steadier: 5 })];
    expect(steadier.scatter[0]?.from).toBe('neighbours');
    const { scatter: [model] } = steadier;
    const mass = 2e-5;
    expect(model === undefined ? 0 : Math.sqrt(varianceAt(model, mass)) / mass).toBeGreaterThan(0.7e-3);
    expect(model === undefined ? 0 : Math.sqrt(varianceAt(model, mass)) / mass).toBeLessThan(1.5e-3);
    // Regions are not cut short for a scatter that is told too small.
    expect(meanU(steadier) / meanU(asSteady)).toBeLessThan(1.5);
  });
});
