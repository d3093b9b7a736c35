import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { sweepLagSentence, uOfLag } from './coil-lag.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, Reduction, SweepLag } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const plan = syntheticPlan({ voltageV: [9, 12, 14], widthMs: [3, 4, 5, 6, 8, 10, 12] }, 4, { linearFromMs: 1 });
const points = expandPlan(plan);

/** `late`: dead times of sweeps up are longer by it, those of sweeps down shorter, s. */
function reduced(late: number, seed = 1): Reduction {
  const normal = normalFrom(seed);
  let last: (typeof points)[number] | null = null;
  const attempts = points.map((point): CountingAttempt => {
    const same = last !== null && last.injector === point.injector && last.voltage === point.voltage;
    const direction = same && last !== null ? Math.sign(point.width - last.width) : 0;
    last = point;
    const injector = syntheticInjector(point.injector);
    const window = syntheticWindow(point, { ...injector, deadTime: (v, p, w) => injector.deadTime(v, p, w) + late * direction }, plan, syntheticEquipment, noErrors, { ...noScatter, relative: 1e-3, width: 1e-6 }, normal);
    return { point: point.index, attempt: 1, window };
  });
  return reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
}
const lagOf = ({ sweepLags }: Reduction): SweepLag & { readonly u: number } => {
  const [lag] = sweepLags;
  if (lag?.u == null) throw new Error('not told');
  return { ...lag, u: lag.u };
};

describe('coils that follow late', () => {
  it.each([4e-6, -4e-6])('RED-84: show in sweeps up against sweeps down: %f s, and enter dead time and slope', (late) => {
    const reduction = reduced(late);
    const lag = lagOf(reduction);
    expect(Math.abs(lag.difference - 2 * late)).toBeLessThan(4 * lag.u);
    expect(Math.abs(lag.difference) / lag.u).toBeGreaterThan(3);
    expect(sweepLagSentence(lag)).toContain('coils follow their duty late');
    const u = uOfLag(lag);
    expect(u / Math.abs(lag.difference)).toBeGreaterThan(0.8);
    for (const cell of reduction.cells) {
      if (cell.kind !== 'line') throw new Error(cell.text);
      const part = cell.shared.find((s) => s.source.quantity === 'sweep-lag');
      expect(part?.onDeadTime).toBeCloseTo(u, 12);
      // The line turns about the width of the purge.
      expect((part?.onSlope ?? 0) * (plan.purge.widthMs * 1e-3 - cell.deadTime.value)).toBeCloseTo(cell.slope.value * u, 15);
    }
  });

  it('RED-90: are in the uncertainty of a dead time once, although the set calls the direction too', () => {
    const reduction = reduced(8e-6);
    expect(reduction.invariance.members.find((m) => m.of === 'direction')?.called).toBe(true);
    for (const cell of reduction.cells) {
      if (cell.kind !== 'line') throw new Error(cell.text);
      const of = (quantity: string): number => cell.shared.find((s) => s.source.quantity === quantity)?.onDeadTime ?? 0;
      expect(of('sweep-lag')).toBeGreaterThan(1e-5);
      // The difference is stated to either side whole, so that half of its rectangle adds nothing.
      expect(Math.abs(of('invariance'))).toBeLessThan(0.1 * of('sweep-lag'));
    }
  });

  it('RED-84: show nothing where coils settle', () => {
    const lags = [11, 12, 13, 14, 15, 16].map((seed) => lagOf(reduced(0, seed)));
    for (const lag of lags) expect(Math.abs(lag.difference)).toBeLessThan(3.5 * lag.u);
    expect(lags.map(uOfLag)).toContain(0);
    expect(sweepLagSentence({ type: 'T', difference: 0, u: 1e-6 })).toContain('no more than scatter explains');
    expect(sweepLagSentence({ type: 'T', difference: 0, u: null })).toContain('nothing tells');
    expect(uOfLag(undefined)).toBe(0);
  });
});
