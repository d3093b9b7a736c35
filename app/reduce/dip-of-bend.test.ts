import { describe, expect, it } from 'vitest';
import { equipmentSchema } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import { pascals } from '../quantities/quantity.ts';
import { partLeftOfDip } from './dip-of-bend.ts';
import { reduceRun } from './reduce.ts';
import type { LineCell, Reduction } from './reduction.ts';
import { noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

describe('RED-178: what is left of a dip that the record bounds', () => {
  it('is all of it where lines do not tell so small a bend, and never more', () => {
    expect(partLeftOfDip({ relative: 0.01, u: 0.1 }, 0.001)).toBeCloseTo(1, 2);
    expect(partLeftOfDip({ relative: 0.3, u: 0.01 }, 0.1)).toBe(1);
    // No bend is told, or no dip is bounded.
    expect(partLeftOfDip({ relative: 0, u: 0 }, 0.1)).toBe(1);
    expect(partLeftOfDip({ relative: 0, u: 0.01 }, 0)).toBe(1);
    // So far from any bend that a dip makes that no likelihood is left: nothing is told.
    expect(partLeftOfDip({ relative: -100, u: 1e-3 }, 0.1)).toBe(1);
  });

  it('is the less the straighter the lines are and the better that is known', () => {
    const by = (relative: number, u: number): number => partLeftOfDip({ relative, u }, 0.16);
    expect(by(0, 0.02)).toBeLessThan(0.5);
    expect(by(0.03, 0.02)).toBeGreaterThan(by(0, 0.02));
    expect(by(0.1, 0.02)).toBeGreaterThan(by(0.03, 0.02));
    expect(by(0, 0.06)).toBeGreaterThan(by(0, 0.02));
  });

  it('is as large as dips are of which a bend was found, whatever it was', () => {
    const normal = normalFrom(7);
    const uniform = (): number => ((normal() * 1e6) % 1 + 1) % 1;
    for (const [most, u] of [[0.16, 0.03], [0.08, 0.03], [0.3, 0.02]] as const) {
      const stated = new Map<number, { squares: number; of: number }>();
      for (let i = 0; i < 20_000; i += 1) {
        const part = uniform();
        const found = part * most + (uniform() < 0.5 ? 0 : 0.05 * normal()) + u * normal();
        const left = partLeftOfDip({ relative: found, u }, most);
        const place = Math.min(3, Math.max(0, Math.floor((4 * found) / most)));
        const sum = stated.get(place) ?? { squares: 0, of: 0 };
        sum.squares += 3 * part * part;
        sum.of += left * left;
        stated.set(place, sum);
      }
      // Where a dip is likely to be nearly all of the bound no more than the bound is stated.
      for (const [place, { squares, of }] of stated) expect(Math.sqrt(squares / of), `${most} ${place}`).toBeCloseTo(1, place < 2 ? 0.5 : 0);
    }
  });

  it('holds for rails of every time constant: none moves a line by more than one that follows at once, for the bend that it makes', () => {
    const [period, opens] = [20e-3, 1e-3];
    const widths = [4, 5, 6, 8, 10, 12].map((ms) => ms * 1e-3);
    /** Of what a rail that loses 1 relative while open, with a time constant, takes from a line of slope 1: bend, and what the straight line crosses later by. */
    const madeBy = (tau: number): { readonly bend: number; readonly onDeadTime: number } => {
      const missing = widths.map((width) => {
        const open = width - opens;
        const [rises, fades] = [Math.exp(-open / tau), Math.exp(-(period - open) / tau)];
        const before = ((1 - rises) * fades) / (1 - rises * fades);
        return -open * (1 + ((before - 1) * tau * (1 - rises)) / open - open / period);
      });
      const mean = (of: readonly number[]): number => of.reduce((sum, one) => sum + one, 0) / of.length;
      const about = widths.map((w) => w - mean(widths));
      const sxx = mean(about.map((x) => x * x));
      const along = (of: readonly number[]): number => mean(of.map((y, i) => y * (about[i] ?? 0))) / sxx;
      const curved = about.map((x) => x * x);
      const own = curved.map((y, i) => y - mean(curved) - along(curved) * (about[i] ?? 0));
      const bend = mean(own.map((y, i) => y * (missing[i] ?? 0))) / mean(own.map((y) => y * y));
      return { bend, onDeadTime: Math.abs(mean(missing) - along(missing) * (mean(widths) - opens)) };
    };
    const atOnce = madeBy(1e-6);
    expect(atOnce.bend * period).toBeCloseTo(1, 2);
    for (let tau = 1e-5; tau < 0.1; tau *= 1.2) {
      const { bend, onDeadTime } = madeBy(tau);
      expect(bend).toBeGreaterThan(0);
      expect(onDeadTime / bend, `${tau} s`).toBeLessThan((1.02 * atOnce.onDeadTime) / atOnce.bend);
    }
  });

  it('is in the lines: of straight ones little, of those that bend as far as the dip would bend them all, of a rail that a compliance bounds all', () => {
    const plan = syntheticPlan({ voltageV: [9, 12, 14] }, 2, { linearFromMs: 3 });
    const points = expandPlan(plan);
    const whileOpenKpa = 2;
    const reduced = (dips: boolean, record: object): Reduction => {
      const normal = normalFrom(3);
      return reduceRun({
        plan,
        equipment: equipmentSchema.parse({ ...syntheticEquipment, ...record }),
        points,
        attempts: points.map((point) => {
          const seen = dips ? pascals(point.pressure - whileOpenKpa * 1e3 * (1 - point.width / point.period)) : point.pressure;
          const window = syntheticWindow({ ...point, pressure: seen }, { ...syntheticInjector(point.injector), deadTime: () => 1e-3 }, plan, syntheticEquipment, noErrors, { relative: 2e-4, width: 1e-7, voltage: 0, pressure: 0, warmer: 0 }, normal);
          return { point: point.index, attempt: 1, window: { ...window, pressure: { mean: point.pressure, sd: 0 } } };
        }),
      });
    };
    const partsOf = ({ cells }: Reduction): readonly LineCell['shared'][number][] => cells.flatMap((c) => (c.kind === 'line' ? c.shared.filter((s) => s.source.quantity === 'pressure-while-open') : []));
    const stated = { pressure: { ...syntheticEquipment.pressure, whileOpenKpa } };
    const [straight, bent] = [partsOf(reduced(false, stated)), partsOf(reduced(true, stated))];
    expect(straight).toHaveLength(6);
    straight.forEach((part, i) => {
      expect(part.onDeadTime / (bent[i]?.onDeadTime ?? 0)).toBeLessThan(0.6);
      expect(part.onSlope / (bent[i]?.onSlope ?? 0)).toBeLessThan(0.6);
      expect(part.onDeadTime).not.toBe(0);
    });
    // Values are those of a record that bounds nothing.
    const values = ({ cells }: Reduction): readonly number[] => cells.flatMap((c) => (c.kind === 'line' ? [c.deadTime.value, c.slope.value] : []));
    expect(values(reduced(false, stated))).toEqual(values(reduced(false, { pressure: { ...syntheticEquipment.pressure, whileOpenKpa: 0 } })));
    const rail = { rail: { complianceMlPerMpa: 5, complianceUncertaintyPercent: 3, volumeMl: 50 } };
    const [even, uneven] = [partsOf(reduced(false, rail)), partsOf(reduced(true, rail))];
    even.forEach((part, i) => expect(part.onDeadTime / (uneven[i]?.onDeadTime ?? 0)).toBeCloseTo(1, 1));
  });
});
