import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { curveError } from './k-interpolation.ts';
import { reduceRun } from './reduce.ts';
import type { LineCell, Reduction } from './reduction.ts';
import { noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const points = (hertz: readonly number[], kFactor: (f: number) => number) => hertz.map((f) => ({ hertz: f, edgesPerLitre: kFactor(f) }));

function reduced(replicates: number, equipment: Equipment): Reduction {
  const plan = syntheticPlan({ replicates }, 1);
  const normal = normalFrom(1);
  const attempts = expandPlan(plan).map((point) => ({ point: point.index, attempt: 1, window: syntheticWindow(point, syntheticInjector(0), plan, equipment, noErrors, { ...noScatter, relative: 1e-3 }, normal) }));
  return reduceRun({ plan, equipment, points: expandPlan(plan), attempts });
}

describe("RED-71: the meter's curve between the points of its certificate", () => {
  it('is not known by what a parabola over ln f misses its chords by, and exactly at the points', () => {
    const f = Array.from({ length: 21 }, (_, i) => 2 ** (i / 2));
    const bend = 1e-3;
    const curve = points(f, (hertz) => 48_000 * (1 + bend * Math.log(hertz) ** 2));
    for (const hertz of f) expect(curveError(curve, hertz).u).toBeLessThan(1e-12);
    const [low, high] = [f[10] ?? 0, f[11] ?? 0];
    const middle = Math.sqrt(low * high);
    const along = (48_000 * (1 + bend * Math.log(middle) ** 2)) / ((curve[10]?.edgesPerLitre ?? 0) / 2 + (curve[11]?.edgesPerLitre ?? 0) / 2) - 1;
    const straight = (middle - low) / (high - low);
    const difference = (curve[11]?.edgesPerLitre ?? 0) / (curve[10]?.edgesPerLitre ?? 1) - 1;
    // 19 misses: the coverage factor of so many is 2.093 and not 1.960 (tables of Student's t).
    expect(curveError(curve, middle).u / Math.hypot((along * 2.093) / 1.96, (difference * (0.5 - straight)) / Math.sqrt(3))).toBeCloseTo(1, 2);
  });

  it('is known less where few points tell it: one miss counts 6.5 times', () => {
    const curve = points([1, 10, 100], (f) => (f === 10 ? 48_048 : 48_000));
    expect(curveError(curve, Math.sqrt(10)).u / Math.hypot((((1e-3 / 4) * 12.706) / 1.96), (1e-3 * (0.5 - (Math.sqrt(10) - 1) / 9)) / Math.sqrt(3))).toBeCloseTo(1, 3);
    expect(curveError(points([1, 100], (f) => 48_000 + 0.48 * f), 10).u).toBeGreaterThan(2e-4);
  });

  it('moves dead times, because pulses of different lengths feel different errors, and every window alike', () => {
    const sparse = { ...syntheticEquipment, meter: { ...syntheticEquipment.meter, kFactor: points([1, 20, 400], (f) => 48_000 * (1 + (f === 20 ? 1e-3 : 0))) } };
    const cellOf = (replicates: number): LineCell => {
      const [cell] = reduced(replicates, sparse).cells;
      if (cell?.kind !== 'line') throw new Error('no line');
      return cell;
    };
    const part = (cell: LineCell): number => Math.hypot(...cell.shared.filter((s) => s.source.quantity === 'k-factor-curve').map((s) => s.onDeadTime));
    const [few, many] = [cellOf(2), cellOf(18)];
    expect(part(few)).toBeGreaterThan(1e-6);
    expect(part(many) / part(few)).toBeCloseTo(1, 1);
    expect(many.deadTime.uRandom / few.deadTime.uRandom).toBeLessThan(0.5);
  });

  it('is no line of a budget where the points are close', () => {
    const [window] = reduced(1, syntheticEquipment).windows;
    if (window?.outcome.kind !== 'mass') throw new Error('no mass');
    expect(window.outcome.budget.filter((t) => t.source.quantity === 'k-factor-curve')).toEqual([]);
  });
});

describe('RED-72: beyond the last point of the certificate', () => {
  it('the curve goes on as it went there, and the farther the less is known', () => {
    const curve = points([1, 10, 100], (f) => 48_000 * (1 + 2e-3 * Math.log10(f)));
    const perE = Math.hypot(1e-3, 2e-3 / Math.log(10));
    for (const times of [1.2, 2, 5]) {
      expect(curveError(curve, 100 * times).u / (perE * Math.log(times))).toBeCloseTo(1, 2);
      expect(curveError(curve, 1 / times).u / (perE * Math.log(times))).toBeCloseTo(1, 2);
    }
    expect(curveError(curve, 120).source.place).toBe('above 100 Hz');
    expect(curveError(curve, 0).u).toBeLessThan(0.01);
    expect(curveError(points([10], () => 48_000), 10).u).toBe(0);
    expect(curveError(points([10], () => 48_000), 20).u).toBeCloseTo(1e-3 * Math.log(2), 9);
    expect(curveError(points([0, 10], () => 48_000), 5).u).toBe(0);
  });
});
