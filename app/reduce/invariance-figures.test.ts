/** The figures of the invariance set and of blind windows, worked out a second time from what the reduction states. RED-110 to RED-115. */
import { describe, expect, it } from 'vitest';
import { fAbove } from '../distributions/distributions.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals, milliseconds, pascals, volts } from '../quantities/quantity.ts';
import { partsOfSet } from './invariance.ts';
import { linesOfRun, memberOf, moreFlow, planOfSet, reducedSet } from './invariance-run.test-helper.ts';
import type { MadeOfSet } from './invariance-run.test-helper.ts';
import type { CountingAttempt, InvarianceMember, LineCell, Reduction } from './reduction.ts';
import { uCoilLate } from './coil-thermal.ts';
import { noScatter, syntheticEquipment, syntheticInjector } from './synthetic.test-helper.ts';
import type { SyntheticInjector, SyntheticScatter } from './synthetic.test-helper.ts';
import { degreesOf, partsAt, varianceAt } from './variance-model.ts';

const plan = planOfSet({ pair: { windows: 0 } });
const white: SyntheticScatter = { ...noScatter, relative: 4e-4, width: 3e-7 };
/** Instruments that are right, and conditions that are those of the plan. */
const reduced = (made: MadeOfSet): Reduction => reducedSet({ seed: 0, of: plan, scatter: () => white, ...made });
/** Nothing of its dead time is free of voltage and temperature. */
const straight = (index: number): SyntheticInjector => syntheticInjector(index, 0);
/** The cell of an injector that points under a changed nuisance are held against. */
function cellOf(reduction: Reduction, injector: number, point: Point): LineCell {
  const halved = point.changed === 'period' || point.changed === 'long-period' || point.role === 'pair';
  const period = halved ? point.period / 2 : point.period;
  const found = linesOfRun(reduction).find((c) => c.injector === injector && c.voltage === point.voltage && c.pressure === kilopascals(400) && Math.abs(c.period - period) < 1e-9);
  if (found === undefined) throw new Error('no cell');
  return found;
}
const changedBy = (points: readonly Point[], changed: Point['changed']): readonly Point[] => points.filter((p) => p.changed === changed);
const close = (value: number, expected: number, part: number): void => {
  expect(value / expected).toBeGreaterThan(1 - part);
  expect(value / expected).toBeLessThan(1 + part);
};

/** How well the scatter is known at the mass that a member is of: RED-171. */
const dofIn = (run: Reduction, open: number): number => {
  const [model] = run.scatter;
  if (model === undefined) throw new Error('no scatter');
  return degreesOf([[model, partsAt((linesOfRun(run)[0]?.slope.value ?? Number.NaN) * open)]]);
};

describe('figures of the invariance set', () => {
  const points = expandPlan(plan);
  const run = reduced({});

  it.each(['time', 'long-period', 'period'] as const)('RED-111 %s: the scatter of a difference is that of both means, and of half the edges twice as much', (of) => {
    const changed = changedBy(points, of);
    for (const { injector, uRandom } of memberOf(run, of).injectors) {
      const own = changed.filter((p) => p.injector === injector);
      const [first] = own;
      const [model] = run.scatter;
      if (first === undefined || model === undefined) throw new Error('nothing changed');
      const cell = cellOf(run, injector, first);
      const { replicates } = plan.axes;
      const one = varianceAt(model, cell.slope.value * (first.width - cell.deadTime.value)) / cell.slope.value ** 2;
      const worse = of === 'time' ? 1 : 4;
      close(uRandom ** 2, (one * worse) / own.length + one / replicates, 0.03);
    }
  });

  it('RED-111 windows at more pressure against windows at less: two means, each with the scatter of its windows', () => {
    const up = changedBy(points, 'pressure-up').filter((p) => p.injector === 0);
    const down = changedBy(points, 'pressure-down').filter((p) => p.injector === 0);
    const [first, model] = [up[0], run.scatter[0]];
    if (first === undefined || model === undefined) throw new Error('nothing changed');
    const cell = cellOf(run, 0, first);
    const one = varianceAt(model, cell.slope.value * (first.width - cell.deadTime.value)) / cell.slope.value ** 2;
    const found = memberOf(run, 'pressure').injectors.find((i) => i.injector === 0);
    close((found?.uRandom ?? 0) ** 2, one / up.length + one / down.length, 0.03);
    close(memberOf(run, 'pressure').open, first.width - cell.deadTime.value, 0.05);
  });

  it('RED-112 the mean is weighted by the inverse variances, and stands against its own uncertainty and that of all', () => {
    for (const { of, injectors, difference, uRandom, uShared, z, percent, open } of run.invariance.members) {
      const weights = injectors.map((i) => 1 / i.uRandom ** 2);
      const sum = weights.reduce((a, b) => a + b, 0);
      const mean = injectors.reduce((total, i, k) => total + i.difference * (weights[k] ?? 0), 0) / sum;
      expect(difference, of).toBeCloseTo(mean, 15);
      close(uRandom, 1 / Math.sqrt(sum), 1e-9);
      close(z, difference / Math.hypot(uRandom, uShared), 1e-9);
      close(percent, (100 * difference) / open, 1e-9);
    }
  });

  it('RED-112 the chance of a member is that of its less likely test, times the tests of the set', () => {
    const tests = run.invariance.tests;
    for (const { of, injectors, difference, p, called, z, open } of run.invariance.members) {
      const dof = dofIn(run, open);
      const spread = injectors.reduce((sum, i) => sum + (i.difference - difference) ** 2 / i.uRandom ** 2, 0) / (injectors.length - 1);
      const least = Math.min(fAbove(z * z, 1, dof), fAbove(spread, injectors.length - 1, dof));
      expect(Math.abs(p - Math.min(1, least * tests)), of).toBeLessThan(0.02);
      expect(called).toBe(p <= 0.01);
    }
    // So many tests that chance alone would give more than one such result are no reason to call.
    const late = reduced({ change: (window, point) => (point.changed === 'time' ? moreFlow(window, 2e-3) : window) });
    const { p, by, z, open } = memberOf(late, 'time');
    expect(by).toBe('common');
    close(p, tests * fAbove(z * z, 1, dofIn(late, open)), 0.02);
  });

  it('RED-112 errors that are not the same for all injectors widen how far they may differ', () => {
    // A coil of 1 ohm among usual ones is warmer by more than what is allowed for of them.
    const of = planSchema.parse({ ...plan, injectors: plan.injectors.map((i, k) => ({ ...i, ...(k === 0 ? { coilResistanceOhm: 1 } : {}) })) });
    const quiet = (): SyntheticScatter => ({ ...noScatter, relative: 2e-5 });
    const { injectors: before, open } = memberOf(reduced({ of, scatter: quiet }), 'long-period');
    const apart = 2 * (before[0]?.uShared ?? 0);
    // It differs by twice that, the others to the other side, so that they have nothing in common.
    const wanted = (i: number): number => ((i === 0 ? apart : -apart / 2) - (before[i]?.difference ?? 0)) / open;
    const unlike = reduced({ of, scatter: quiet, change: (window, point) => (point.changed === 'long-period' ? moreFlow(window, wanted(point.injector)) : window) });
    const { injectors, difference, uShared, p, by } = memberOf(unlike, 'long-period');
    const dof = dofIn(unlike, open);
    const spread = injectors.reduce((sum, i) => sum + (i.difference - difference) ** 2 / (i.uRandom ** 2 + (i.uShared - uShared) ** 2), 0) / 2;
    expect(by).toBe('injectors');
    // The warmth of the coil is nearly all that is not random.
    close(p / unlike.invariance.tests, fAbove(spread, 2, dof), 0.1);
  });

  it('RED-112 one injector alone is asked one thing: whether its difference is nothing', () => {
    const alone = reduced({ of: planOfSet({ pair: { windows: 0 } }, {}, 1) });
    expect(alone.invariance.tests).toBe(alone.invariance.members.length);
    for (const { by, injectors, difference } of alone.invariance.members) {
      expect(by).toBe('common');
      expect(injectors.map((i) => i.difference)).toEqual([expect.closeTo(difference, 15)]);
    }
  });

  describe('RED-111 a window that stood off its voltage, pressure or temperature is referred to its cell', () => {
    const off = (change: MadeOfSet) => {
      const late = reduced({ scatter: () => noScatter, ...change });
      const [first] = changedBy(points, 'time');
      if (first === undefined) throw new Error('nothing changed');
      return { time: memberOf(late, 'time'), cell: cellOf(late, 0, first) };
    };
    const only = (point: Point, what: Partial<Point>): Partial<Point> => (point.changed === 'time' ? what : {});

    it.each([0.05, -0.05])('%f V', (by) => {
      const { time, cell } = off({ driven: (point) => only(point, { voltage: volts(point.voltage + by) }) });
      expect(Math.abs(time.difference)).toBeLessThan(0.1 * Math.abs(cell.byVoltage.value * by));
      // How badly the effect is known counts by the distance.
      close(Math.hypot(...time.injectors.slice(0, 1).map((i) => i.uShared)), cell.byVoltage.u * Math.abs(by), 0.2);
    });

    it.each([8e3, -8e3])('%f Pa', (by) => {
      const { time, cell } = off({ driven: (point) => only(point, { pressure: pascals(point.pressure + by) }) });
      expect(cell.byPressure.from).toBe('default');
      expect(Math.abs(time.difference)).toBeLessThan(0.3 * Math.abs(cell.byPressure.value * by));
      // Nothing in the run has told the effect: it may be off by all of itself.
      expect(time.uShared).toBeGreaterThan(0.95 * Math.abs(cell.byPressure.value * by));
    });

    it.each([1, -1])('%f K', (by) => {
      const { time, cell } = off({ injector: straight, scatter: (point) => ({ ...noScatter, warmer: point.changed === 'time' ? by : 0 }) });
      expect(Math.abs(time.difference)).toBeLessThan(0.15 * Math.abs(cell.byTemperature.value * by));
      close(time.injectors[0]?.uShared ?? 0, cell.byTemperature.u * Math.abs(by), 0.2);
    });
  });

  it('RED-111 RED-47 at twice the period a coil that is cooler by three quarters of a kelvin a watt opens as told, whatever its resistance', () => {
    for (const coilResistanceOhm of [undefined, 2.5]) {
      const base = plan;
      const of = planSchema.parse({ ...base, injectors: base.injectors.map((i) => ({ ...i, ...(coilResistanceOhm === undefined ? {} : { coilResistanceOhm }) })) });
      const still = reduced({ of, scatter: () => noScatter });
      const changed = changedBy(expandPlan(of), 'long-period').find((p) => p.injector === 0);
      if (changed === undefined) throw new Error('nothing changed');
      const cell = cellOf(still, 0, changed);
      // V^2/R over the part of the period for which current flows, half of it at twice the period. A coil of 14 ohm is the usual one.
      const current = changed.width - 1.5 * cell.deadTime.value;
      const watts = (changed.voltage ** 2 / (coilResistanceOhm ?? 14)) * (current / cell.period - current / changed.period);
      const warmth = 0.75 * watts * cell.byTemperature.value;
      const found = memberOf(still, 'long-period').injectors.find((i) => i.injector === 0);
      // This bench has no coil that warms: what is allowed for is all that is left.
      close(found?.difference ?? 0, -warmth, 0.01);
      close(found?.uShared ?? 0, Math.abs(warmth) / Math.sqrt(3), 0.02);
    }
  });

  it('RED-111 what all windows share of the K-factor cancels, what points of its curve have by themselves does not', () => {
    const { meter } = syntheticEquipment;
    const meterWith = (change: Partial<Equipment['meter']>): Equipment => ({ ...syntheticEquipment, meter: { ...meter, ...change } });
    const unsure = (equipment: Equipment): number => memberOf(reduced({ equipment }), 'long-period').uShared;
    const usual = unsure(syntheticEquipment);
    // Ten times the uncertainty of the whole curve, 1 % of some ten milliseconds, changes nothing.
    close(unsure(meterWith({ relativeUncertaintyPercent: 1 })), usual, 1e-3);
    // 1 % for each point by itself: half the flow is at another point, so the two errors add in squares (a place between two points has less of each).
    const own = Math.sqrt(unsure(meterWith({ kFactor: meter.kFactor.map((k) => ({ ...k, ownUncertaintyPercent: 1 })) })) ** 2 - usual ** 2);
    const open = memberOf(run, 'long-period').open;
    expect(own / (0.01 * open)).toBeGreaterThan(1);
    expect(own / (0.01 * open)).toBeLessThan(Math.SQRT2 * 1.01);
  });

  it('RED-113 RED-142 what a coil of one second may be late by is allowed for', () => {
    const direction = memberOf(run, 'direction');
    const cells = linesOfRun(run).filter((c) => c.injector === 0).map((c) => {
      const late = c.widths.filter((w) => w.inRegion).map(({ width }) => uCoilLate(plan, c, width - c.deadTime.value));
      return Math.abs(c.byTemperature.value) * (late.reduce((sum, one) => sum + one, 0) / late.length);
    });
    const own = direction.injectors.find((i) => i.injector === 0)?.uShared ?? 0;
    expect(own).toBeGreaterThan(0.9 * Math.min(...cells));
    expect(own).toBeLessThan(1.1 * Math.max(...cells));
  });

  it('RED-110 an injector without a line, without ordinary windows or without changed ones says nothing; the others do', () => {
    const refusedOf1 = (refused: (point: Point) => boolean): Reduction => reduced({ change: (window, point) => (point.injector === 1 && refused(point) ? { ...window, edges: 0 } : window) });
    const asked = (reduction: Reduction, of: InvarianceMember['of']): readonly number[] => memberOf(reduction, of).injectors.map((i) => i.injector);
    const [time] = changedBy(points, 'time');
    const noLine = refusedOf1((point) => point.role === 'measure' && point.voltage === time?.voltage);
    const noOrdinary = refusedOf1((point) => point.role === 'measure' && point.width === time?.width);
    const noChanged = refusedOf1((point) => point.changed === 'time' || point.changed === 'pressure-up');
    for (const run of [noLine, noOrdinary, noChanged]) expect(asked(run, 'time')).toEqual([0, 2]);
    expect(asked(noChanged, 'pressure')).toEqual([0, 2]);
    expect(asked(noChanged, 'long-period')).toEqual([0, 1, 2]);
    // More and less pressure are held against each other; ordinary windows only tell how much worse windows of fewer edges repeat.
    const [up] = changedBy(points, 'pressure-up');
    const kept = ({ point: index }: CountingAttempt): boolean => {
      const point = points[index];
      return point?.injector !== 1 || point.role !== 'measure' || point.width !== up?.width;
    };
    const alone = reduced({ handedOver: (attempts) => attempts.filter(kept) });
    const u = memberOf(alone, 'pressure').injectors.map((i) => i.uRandom);
    expect(u).toHaveLength(3);
    close(u[1] ?? Number.NaN, u[0] ?? Number.NaN, 0.1);
  });

  it('RED-110 other pressures and periods of the plan take no part in what one of them says', () => {
    // At the others windows scatter twenty times as much; every set point is met, so that nothing is referred by what other cells say.
    const noisy = ({ pressure, period }: Point): SyntheticScatter => (pressure === kilopascals(500) || period === milliseconds(30) ? { ...white, relative: 20 * white.relative } : white);
    const wide = reduced({ of: planOfSet({ pair: { windows: 0 } }, { pressureKpa: [400, 500], periodMs: [20, 30] }), scatter: noisy });
    for (const of of ['time', 'long-period', 'period', 'pressure'] as const) {
      const [one, other] = [memberOf(run, of), memberOf(wide, of)];
      expect(other.injectors.map((i) => i.injector)).toEqual([0, 1, 2]);
      expect(other.uRandom, of).toBeLessThan(1.6 * one.uRandom);
      expect(Math.abs(other.difference), of).toBeLessThan(4 * Math.hypot(one.uRandom, one.uShared));
    }
  });

  it('RED-114 reference points that wander call the end of the run, by more than scatter, and say by how much', () => {
    const watched = planOfSet({ pair: { windows: 0 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints: 12 } });
    // An error that all of them share, as of the whole K-curve, is no wandering and hides none.
    const { meter } = syntheticEquipment;
    const steps = (part: number) => reduced({ of: watched, equipment: { ...syntheticEquipment, meter: { ...meter, relativeUncertaintyPercent: 1 } }, change: (window, point) => (point.role === 'reference' ? moreFlow(window, point.replicate % 2 === 0 ? part : -part) : window) });
    const wandering = memberOf(steps(5e-3), 'time');
    expect(wandering).toMatchObject({ called: true, by: 'course' });
    close(wandering.wandered ?? 0, 5e-3, 0.1);
    const still = memberOf(steps(0), 'time');
    expect(still.called).toBe(false);
    expect(still.wandered ?? 1).toBeLessThan(4e-4);
    expect(memberOf(run, 'time').wandered).toBeUndefined();
    // Windows that stood off their pressure differ by what is not known of its effect, which is no wandering.
    const off = reduced({ of: watched, scatter: () => noScatter, driven: (point) => (point.role === 'reference' ? { pressure: pascals(point.pressure + (point.replicate % 2 === 0 ? 8e3 : -8e3)) } : {}) });
    expect(memberOf(off, 'time')).toMatchObject({ wandered: 0, called: false });
    // Three are the fewest that scatter about a mean.
    const references = (everyPoints: number) => reduced({ of: planOfSet({ pair: { windows: 0 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints } }) });
    for (const every of [80, 130, 1000]) {
      const list = expandPlan(planOfSet({ pair: { windows: 0 }, reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints: every } })).filter((p) => p.role === 'reference');
      expect(memberOf(references(every), 'time').wandered === undefined, `${list.length}`).toBe(list.length < 3);
    }
    // A reference at a set point without a line says nothing here.
    const elsewhere = reduced({ of: planOfSet({ pair: { windows: 0 }, reference: { injector: 'S-1', voltageV: 13, pressureKpa: 400, widthMs: 6, periodMs: 20, everyPoints: 12 } }) });
    expect(memberOf(elsewhere, 'time').wandered).toBeUndefined();
  });
});

describe('what a called member adds', () => {
  const base: InvarianceMember = {
    of: 'period',
    injectors: [{ injector: 0, difference: 3e-6, uRandom: 1e-7, uShared: 1e-7 }, { injector: 1, difference: -1e-6, uRandom: 1e-7, uShared: 1e-7 }],
    difference: 1e-6,
    percent: 0.1,
    open: 1e-3,
    uRandom: 1e-7,
    uShared: 1e-7,
    z: 7,
    p: 1e-6,
    called: true,
    by: 'common',
    reach: 1,
  };
  const parts = (change: Partial<InvarianceMember>, { injector = 0, leakTold = false, uDrift = 0, uLag = 0 } = {}) => partsOfSet({ members: [{ ...base, ...change }], tests: 2, falseCalls: 0.01 }, injector, leakTold, uDrift, uLag);
  const rectangular = (half: number): number => half / Math.sqrt(3);

  it('RED-114 nothing where it is not called, and nothing of a period pair that the leak has taken in', () => {
    expect(parts({ called: false })).toEqual([]);
    expect(parts({}, { leakTold: true })).toEqual([]);
    expect(parts({ of: 'long-period' }, { leakTold: true })).toHaveLength(1);
  });

  it('RED-90 of the direction only what up against down has not put there already', () => {
    const of = 'direction';
    const whole = rectangular(1e-6);
    expect(parts({ of }, { uLag: 0.6 * whole })[0]?.onDeadTime).toBeCloseTo(0.8 * whole, 12);
    expect(parts({ of, difference: -1e-6 }, { uLag: 0.6 * whole })[0]?.onDeadTime).toBeCloseTo(-0.8 * whole, 12);
    expect(parts({ of }, { uLag: 1.1 * whole })[0]?.onDeadTime).toBe(0);
    // It is no part of what else is called.
    expect(parts({ of: 'long-period' }, { uLag: 1.1 * whole })[0]?.onDeadTime).toBeCloseTo(whole, 12);
  });

  it('RED-114 to dead times the difference, of each injector where they differ', () => {
    for (const of of ['period', 'long-period', 'direction'] as const) {
      expect(parts({ of })).toEqual([{ of, onDeadTime: rectangular(1e-6), onSlope: 0 }]);
      expect(parts({ of, by: 'injectors' })).toEqual([{ of, onDeadTime: rectangular(3e-6), onSlope: 0 }]);
      expect(parts({ of, by: 'injectors' }, { injector: 1 })).toEqual([{ of, onDeadTime: rectangular(-1e-6), onSlope: 0 }]);
      // One that has no window in the set differs by nothing that is known.
      expect(parts({ of, by: 'injectors' }, { injector: 2 })).toEqual([{ of, onDeadTime: 0, onSlope: 0 }]);
    }
  });

  it('RED-114 to slopes the difference over the mass, as far as windows stand apart; of time less what the reference has put there', () => {
    const onSlope = (change: Partial<InvarianceMember>, uDrift = 0): number => {
      const [part] = parts(change, { uDrift });
      expect(part?.onDeadTime).toBe(0);
      return part?.onSlope ?? Number.NaN;
    };
    expect(onSlope({ of: 'pressure', reach: 0.25 })).toBeCloseTo(rectangular(0.25e-3), 12);
    expect(onSlope({ of: 'pressure', difference: -1e-6, reach: 0.25 }, 1)).toBeCloseTo(rectangular(0.25e-3), 12);
    expect(onSlope({ of: 'time' })).toBeCloseTo(rectangular(1e-3), 12);
    expect(onSlope({ of: 'time', wandered: 5e-3 })).toBeCloseTo(5e-3, 12);
    expect(onSlope({ of: 'time', wandered: 1e-4 })).toBeCloseTo(rectangular(1e-3), 12);
    expect(onSlope({ of: 'time', wandered: 5e-3 }, 3e-3)).toBeCloseTo(4e-3, 12);
    expect(onSlope({ of: 'time', wandered: 5e-3 }, 6e-3)).toBe(0);
  });
});

describe('figures of blind windows', () => {
  const of = planOfSet({ pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 10 } });
  const shift = (point: Point): number => ((point.index * 7) % 31) * 1e-6 - 15e-6;

  it.each([
    ['as planned', {}, 0],
    ['20 mV off', { voltage: 0.02 }, 0],
    ['8 kPa off', { pressure: -8e3 }, 0],
    ['1 K warmer', {}, 1],
  ])('RED-115 without scatter the shift is found to a few tenths of a microsecond, and as well as the usual effect of the pressure is known: %s', (_, { voltage = 0, pressure = 0 }: { readonly voltage?: number; readonly pressure?: number }, warmer) => {
    const off = (point: Point): Partial<Point> => (point.role === 'blind' ? { voltage: volts(point.voltage + voltage), pressure: pascals(point.pressure + pressure) } : {});
    const { blind } = reduced({ of, injector: straight, shift, driven: off, scatter: (point) => ({ ...noScatter, warmer: point.role === 'blind' ? warmer : 0 }) });
    expect(blind).toHaveLength(expandPlan(of).filter((p) => p.role === 'blind').length);
    for (const { found, truth } of blind) expect(Math.abs(found - (truth ?? 0))).toBeLessThan(4e-7 + (pressure === 0 ? 0 : 6e-7));
  });

  it('RED-115 a harness between supply and coil is the same for line and window', () => {
    const { name, meter, pressure, temperature, supply, fluid, ambientKpa } = syntheticEquipment;
    const wired = equipmentSchema.parse({
      equipmentVersion: 2,
      ...{ name, meter, pressure, temperature, supply, fluid, ambientKpa },
      controller: { model: 'C', serialNumber: 'C-1' },
      wiring: { sensedAt: 'supply', harnessOhm: 0.3, harnessUncertaintyOhm: 0.03 },
      driver: { type: 'clamp', clampV: 60, clampUncertaintyV: 1 },
      timeBase: { kind: 'crystal', uncertaintyPpm: 40, refuseAbovePpm: 500 },
    });
    const run = reduced({ of, equipment: wired, injector: straight, shift, scatter: () => noScatter });
    // It moves dead times by more than the shifts are found to.
    expect(Math.min(...linesOfRun(run).map((c) => Math.abs(c.referred.toCoil)))).toBeGreaterThan(2e-6);
    for (const { found, truth } of run.blind) expect(Math.abs(found - (truth ?? 0))).toBeLessThan(4e-7);
  });

  it('RED-115 the uncertainty is that of one window and of the line at its width', () => {
    // Of its own pressure and period: at each they scatter otherwise.
    const many = planOfSet({ pair: { windows: 0 }, invariance: { percent: 0 }, blind: { percent: 5 } }, { voltageV: [9, 12], pressureKpa: [400, 500], periodMs: [20, 30] });
    const run = reduced({ of: many, shift, scatter: ({ pressure, period }) => ({ ...white, relative: white.relative * (pressure === kilopascals(500) ? 2 : 1) * (period === milliseconds(30) ? 3 : 1) }) });
    expect(new Set(run.blind.map((b) => { const { pressure, period } = expandPlan(many)[b.point] ?? {}; return `${pressure}|${period}`; })).size).toBe(4);
    for (const { point, injector, voltage, width, u, dof, expanded } of run.blind) {
      const { at: { pressure, period } = {}, outcome } = run.windows.find((w) => w.point === point) ?? {};
      const mass = outcome?.kind === 'mass' ? outcome.mass : Number.NaN;
      const cell = linesOfRun(run).find((c) => c.injector === injector && c.voltage === voltage && c.pressure === pressure && c.period === period);
      const model = run.scatter.find((s) => s.pressure === pressure && s.period === period);
      if (cell === undefined || model === undefined) throw new Error('no line');
      const { scatter, slope, deadTime } = cell;
      const open = width - deadTime.value;
      close(u ** 2, (varianceAt(model, mass, outcome?.kind === 'mass' ? outcome.partTurn : Number.NaN) + scatter.uMean ** 2 + ((open - scatter.distance) * scatter.uSlope) ** 2) / slope.value ** 2, 1e-9);
      // Of window and line together (Welch and Satterthwaite).
      const ofWindow = varianceAt(model, mass, outcome?.kind === 'mass' ? outcome.partTurn : Number.NaN) / slope.value ** 2;
      const ofLine = u ** 2 - ofWindow;
      close(dof, u ** 4 / (ofWindow ** 2 / degreesOf([[model, partsAt(mass, outcome?.kind === 'mass' ? outcome.partTurn : Number.NaN)]]) + ofLine ** 2 / scatter.dof), 1e-6);
      expect(expanded / u).toBeGreaterThan(1.95);
    }
  });

  it('RED-115 a window that stands in no line, or that nothing was hidden of, tells nothing', () => {
    const all = expandPlan(of).filter((p) => p.role === 'blind');
    const open = reduced({ of });
    expect(open.blind).toHaveLength(all.length);
    // One without a mass, and one that was driven as it stands in the plan.
    expect(reduced({ of, change: (window, point) => (point.index === all[0]?.index ? { ...window, edges: 0 } : window) }).blind.map((b) => b.point)).toEqual(all.slice(1).map((p) => p.index));
    const told = ({ blindShift, ...attempt }: CountingAttempt): CountingAttempt => (attempt.point === all[1]?.index || blindShift === undefined ? attempt : { ...attempt, blindShift });
    expect(reduced({ of, handedOver: (attempts) => attempts.map(told) }).blind).toHaveLength(all.length - 1);
    expect(reduced({ of, change: (window, point) => (point.role === 'measure' && point.injector === 1 && point.voltage === 12 ? { ...window, edges: 0 } : window) }).blind.some((b) => b.injector === 1 && b.voltage === 12)).toBe(false);
    // Widths below the region lie off the line.
    const late = reduced({ of: planSchema.parse({ ...of, reduction: { ...of.reduction, linearFromMs: 8 } }) });
    expect(late.blind.every((b) => b.width >= 8e-3)).toBe(true);
    expect(late.blind.length).toBeGreaterThan(0);
    expect(late.blind.length).toBeLessThan(all.length);
  });
});

