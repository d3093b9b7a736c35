import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { sweepLagSentence, sweepLagsOf, uOfLag } from './coil-lag.ts';
import type { FittedLine } from './effects.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, ReducedWindow, Reduction, SweepLag } from './reduction.ts';
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

/** Four widths up and down again, once each, that weigh alike: the contrast of the directions is clear of height and slope. */
describe('RED-84 figures by hand', () => {
  const [slope, deadTime, variance] = [4e-3, 1e-3, 1e-18];
  const widths = [3e-3, 5e-3, 7e-3, 9e-3, 7e-3, 5e-3, 3e-3];
  const directions = [0, 1, 1, 1, -1, -1, -1];

  /** `scale`: how much more the windows scatter than their model says. */
  const made = (injector: number, late: number, scale: number): FittedLine => {
    const windows = widths.map((width, i) => {
      const source = { point: i, attempt: 1 } as unknown as ReducedWindow;
      return { source, order: 100 * injector + i, width, mass: slope * (width - deadTime - late * (directions[i] ?? 0)) };
    });
    const groups = [9e-3, 7e-3, 5e-3, 3e-3].map((width) => ({ width, observed: windows.filter((w) => w.width === width) }));
    const used = groups.flatMap(({ observed }) => observed);
    return {
      kind: 'line', cell: { at: { injector }, groups }, line: { slope, deadTime, fit: { scale } },
      used, observations: used.map(({ width, mass }) => ({ width, mass, variance, weight: 1 })),
    } as unknown as FittedLine;
  };
  const lagFor = (scales: readonly number[], late = 3e-6): SweepLag | undefined => {
    return sweepLagsOf(scales.map((scale, injector) => made(injector, late, scale)), { injectors: syntheticPlan({}, 4).injectors })[0];
  };

  it('the difference is twice what a direction is late by, and its uncertainty that of the windows as they scatter', () => {
    const one = lagFor([1]);
    expect((one?.difference ?? 0) / 6e-6).toBeCloseTo(1, 9);
    // Six windows have one before them: up at 5, 7, 9 ms, down at 7, 5, 3. The directions lean on the widths,
    // which are -1, 1, 3, 1, -1, -3 ms off their mean, by 6 over a sum of squares of 22: that much the line takes up.
    const least = 6 - 6 ** 2 / 22;
    expect((one?.u ?? 0) / (2 * (Math.sqrt(variance) / slope) / Math.sqrt(least))).toBeCloseTo(1, 9);
    expect((lagFor([4])?.u ?? 0) / (one?.u ?? 1)).toBeCloseTo(2, 9);
    // Two lines: each counts by how well it is known.
    expect((lagFor([1, 4])?.u ?? 0) / (one?.u ?? 1)).toBeCloseTo(1 / Math.sqrt(1.25), 9);
    expect((lagFor([1, 4], -3e-6)?.difference ?? 0) / -6e-6).toBeCloseTo(1, 9);
  });
});
