/** RED-130, RED-131: the coil is integrated here step by step, not by the formulas of the room. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { statedOhmOf } from '../plan/coil-of-type.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import { typicalDeadTime } from '../plan/typical.ts';
import { amperes, seconds } from '../quantities/quantity.ts';
import { coilLagSentence, coilMemories, warmthOf } from './coil-memory.ts';
import { ohmOf, riseOf, usualCoil, usualRise } from './coil-thermal.ts';
import { reduceRun } from './reduce.ts';
import type { CoilMemory } from './coil-memory.ts';
import type { CountingAttempt, LineCell, Reduction } from './reduction.ts';
import { noErrors, normalFrom, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const axes = { voltageV: [9, 12, 14], widthMs: [3, 4, 5, 6, 8, 10, 12] };
const shuffled = (reduction: Partial<Plan['reduction']> = {}): Plan => planSchema.parse({ ...syntheticPlan(axes, 4, { linearFromMs: 1, ...reduction }), sequence: { kind: 'shuffled', seed: 5 } });
const alternating = syntheticPlan(axes, 4, { linearFromMs: 1 });
const step = 2e-3;

/** Of the one type that the plan has. */
function memoryOf(plan: Plan, windows: Parameters<typeof coilMemories>[1]): CoilMemory {
  const [memory] = coilMemories(plan, windows).values();
  if (memory === undefined) throw new Error('nothing is told');
  return memory;
}

interface Coil {
  readonly kelvinPerWatt: number;
  readonly tau: number;
  /** How long the current rises as the heat feels it, s; absent: as a usual one does. `read`: windows state their current. */
  readonly rise?: { readonly s: number; readonly read: boolean };
}

/** A run on coils that follow late; `settled`: on the same whose every window finds the warmth that its own pulses leave in the long run. */
function reduced(plan: Plan, coil: Coil, settled = false, seed = 1, reducedBy = plan): Reduction {
  const normal = normalFrom(seed);
  const points = expandPlan(plan);
  const kelvins = new Map<number, number>();
  const until = new Map<number, number>();
  let [now, driven] = [100, 0];
  const power = (voltage: number, width: number, period: number): number => ((voltage * voltage) / 14) * (Math.max(0, width - (coil.rise?.s ?? 1.5 * typicalDeadTime(voltage))) / period);
  const attempts = points.map((point): CountingAttempt => {
    const injector = syntheticInjector(point.injector);
    const own = power(point.voltage, point.width, point.period) * coil.kelvinPerWatt;
    const follow = (target: number, time: number): number => {
      let sum = 0;
      const steps = Math.round(time / step);
      for (let i = 0; i < steps; i += 1) {
        const k = kelvins.get(point.channel) ?? 0;
        sum += k;
        kelvins.set(point.channel, k + ((target - k) * step) / coil.tau);
      }
      return sum / steps;
    };
    // A coil cools while others are measured.
    now += 0.3;
    follow(0, Math.min(200, now - (until.get(point.channel) ?? 0)));
    const purgeS = plan.purge.when === 'injector-changes' && driven === point.channel ? 0 : plan.purge.pulses * plan.purge.periodMs * 1e-3;
    driven = point.channel;
    if (purgeS > 0) follow(power(point.voltage, plan.purge.widthMs * 1e-3, plan.purge.periodMs * 1e-3) * coil.kelvinPerWatt, purgeS);
    follow(own, plan.settleS);
    now += purgeS + plan.settleS;
    const warm = settled ? own : follow(own, 3);
    const window = syntheticWindow(point, { ...injector, deadTime: (v, p, w = 0) => injector.deadTime(v, p, w + warm) }, plan, syntheticEquipment, noErrors, { ...noScatter, relative: 5e-4, width: 1e-6 }, normal);
    const from = now;
    now += 3;
    until.set(point.channel, now);
    // The charge begins where the current would have risen at once.
    const current = coil.rise?.read === true ? { current: { mean: amperes(((point.voltage / 14) * Math.max(0, point.width - coil.rise.s / 1.25)) / point.period), sd: 0 } } : {};
    return { point: point.index, attempt: 1, window: { ...window, ...current, from: seconds(from), to: seconds(now) } };
  });
  return reduceRun({ plan: reducedBy, equipment: syntheticEquipment, points, attempts });
}
const lines = ({ cells }: Reduction): readonly LineCell[] => cells.map((cell) => (cell.kind === 'line' ? cell : (() => { throw new Error(cell.text); })()));
const meanOff = (a: Reduction, b: Reduction): number => lines(a).reduce((sum, cell, i) => sum + cell.deadTime.value - (lines(b)[i]?.deadTime.value ?? Number.NaN), 0) / lines(a).length;
/** The same windows at settled warmth, and nothing taken off. */
const inTruth = (coil: Coil, seed = 1): Reduction => reduced(shuffled({ coil: { kelvinPerWatt: 0, uncertaintyKelvinPerWatt: 0, timeConstantS: 1, uncertaintyTimeConstantS: 0 } }), coil, true, seed);
const partOf = (cell: LineCell) => cell.shared.find(({ source }) => source.quantity === 'coil-memory');
const [lagOf] = [({ coilLags: [lag] }: Reduction) => lag ?? (() => { throw new Error('nothing told'); })()];
const slow = { kelvinPerWatt: 2, tau: 10 };

describe('RED-130 what coils remember', () => {
  it.each([slow, { kelvinPerWatt: 2, tau: 30 }])('is found in a shuffled order and taken off: %o', (coil) => {
    // Without it dead times are microseconds off and nothing says so but the difference of sweeps.
    expect(Math.abs(meanOff(reduced(alternating, coil), reduced(alternating, coil, true)))).toBeGreaterThan(2e-6);
    const runs = [1, 2, 3, 4, 5, 6].map((seed) => ({ late: lines(reduced(shuffled(), coil, false, seed)), truth: lines(inTruth(coil, seed)) }));
    let squares = 0;
    for (const { late, truth } of runs) {
      // Cells of one voltage share what is not known: one of each tells of all.
      for (const voltage of axes.voltageV) {
        const own = late.find((c) => c.voltage === voltage);
        const other = truth.find((c) => c.voltage === voltage);
        const z = ((own?.deadTime.value ?? Number.NaN) - (other?.deadTime.value ?? Number.NaN)) / (own === undefined ? Number.NaN : (partOf(own)?.onDeadTime ?? Number.NaN));
        expect(Math.abs(z)).toBeLessThan(3.5);
        squares += z * z;
      }
    }
    expect(Math.sqrt(squares / (runs.length * axes.voltageV.length))).toBeLessThan(1.5);
    const off = runs.reduce((sum, { late, truth }) => sum + late.reduce((own, c, i) => own + c.deadTime.value - (truth[i]?.deadTime.value ?? Number.NaN), 0) / late.length, 0) / runs.length;
    expect(Math.abs(off)).toBeLessThan(1.2e-6);
    const late = reduced(shuffled(), coil);
    const lag = lagOf(late);
    const kelvinPerWatt = lag.candidates.reduce((sum, c) => sum + c.chance * c.kelvinPerWatt, 0);
    expect(Math.abs(kelvinPerWatt - coil.kelvinPerWatt)).toBeLessThan(0.8);
    const tau = Math.exp(lag.candidates.reduce((sum, c) => sum + c.chance * Math.log(c.tau), 0));
    expect(Math.abs(Math.log(tau / coil.tau))).toBeLessThan(Math.log(2));
    expect(Math.abs(lag.seen)).toBeGreaterThan(5);
    expect(lag.candidates.reduce((sum, c) => sum + c.chance, 0)).toBeCloseTo(1, 12);
    expect(coilLagSentence(lag)).toMatch(/^T: coils taken for [12]\.\d\d ± \d\.\d\d K\/W \(k = 2\) with a time constant of/);
  });

  it('stands in dead time and slope by what is not known of it, in place of a bound', () => {
    for (const cell of lines(reduced(shuffled(), slow))) {
      expect(partOf(cell)?.onDeadTime).toBeGreaterThan(0);
      expect(partOf(cell)?.onSlope).toBeGreaterThan(0);
      expect(cell.shared.some(({ source }) => source.quantity === 'coil-late')).toBe(false);
    }
    for (const cell of lines(reduced(alternating, slow))) {
      expect(partOf(cell)).toBeUndefined();
      expect(cell.shared.some(({ source }) => source.quantity === 'coil-late')).toBe(true);
    }
  });

  it('PLAN-110 counts without a purge where the plan has none before a window', () => {
    const coil = { kelvinPerWatt: 2, uncertaintyKelvinPerWatt: 0, timeConstantS: 10, uncertaintyTimeConstantS: 0 };
    const often = shuffled({ coil });
    const seldom = planSchema.parse({ ...often, purge: { ...often.purge, pulses: 400, when: 'injector-changes' } });
    const wrong = planSchema.parse({ ...seldom, purge: { ...seldom.purge, when: 'each-window' } });
    const truth = lines(reduced(shuffled({ coil: { ...coil, kelvinPerWatt: 0 } }), slow, true));
    const off = (of: Reduction): number => Math.sqrt(lines(of).reduce((sum, c, i) => sum + (c.deadTime.value - (truth[i]?.deadTime.value ?? Number.NaN)) ** 2, 0) / truth.length);
    // A purge of 8 s would lead each coil well towards its own warmth.
    expect(off(reduced(seldom, slow))).toBeLessThan(off(reduced(seldom, slow, false, 1, wrong)) / 2);
  });

  it('takes hardly anything off coils that settle at once', () => {
    const quick = { kelvinPerWatt: 0.5, tau: 0.2 };
    expect(Math.abs(meanOff(reduced(shuffled(), quick), inTruth(quick)))).toBeLessThan(1e-6);
  });

  it('PLAN-83 believes the plan as far as its uncertainty says, also in another order', () => {
    const coil = { kelvinPerWatt: 2, uncertaintyKelvinPerWatt: 0, timeConstantS: 10, uncertaintyTimeConstantS: 0 };
    const told = planSchema.parse({ ...alternating, reduction: { ...alternating.reduction, coil } });
    const sure = reduced(told, slow);
    expect(lagOf(sure)).toMatchObject({ stated: true, candidates: [{ tau: 10, chance: 1, kelvinPerWatt: 2, u: 0 }] });
    // What stays unknown is what a kelvin does at a voltage (RED-18), and no more.
    const truth = lines(reduced(alternating, slow, true));
    const untold = lines(reduced(alternating, slow));
    const off = (list: readonly LineCell[]): number => list.reduce((sum, c, i) => sum + Math.abs(c.deadTime.value - (truth[i]?.deadTime.value ?? Number.NaN)), 0) / list.length;
    expect(off(lines(sure))).toBeLessThan(off(untold) / 2);
    for (const [i, cell] of lines(sure).entries()) expect(Math.abs(cell.deadTime.value - (truth[i]?.deadTime.value ?? Number.NaN))).toBeLessThan(3.5 * (partOf(cell)?.onDeadTime ?? 0));
    expect(coilLagSentence(lagOf(sure))).toContain('2.00 ± 0.00 K/W (k = 2) with a time constant of 10 s, by the plan and');
    const vague = planSchema.parse({ ...alternating, reduction: { ...alternating.reduction, coil: { kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 2, timeConstantS: 15, uncertaintyTimeConstantS: 10 } } });
    const lag = lagOf(reduced(vague, slow));
    expect(lag.candidates.map((c) => c.tau.toFixed(1))).toEqual([15 * Math.exp(-Math.sqrt(3 * Math.log(1 + 4 / 9))), 15, 15 * Math.exp(Math.sqrt(3 * Math.log(1 + 4 / 9)))].map((t) => t.toFixed(1)));
    expect(lag.candidates.every((c) => Math.abs(c.kelvinPerWatt - 1) > 0.2)).toBe(true);
  });

  it('PLAN-83 what the plan is sure of counts for more than the windows, and what windows cannot tell is left as it was', () => {
    const stated = (coil: Partial<NonNullable<Plan['reduction']['coil']>>): ReturnType<typeof lagOf> =>
      lagOf(reduced(shuffled({ coil: { kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0.02, timeConstantS: 10, uncertaintyTimeConstantS: 0, ...coil } }), slow));
    // The windows say 2 to some tenths; the plan says 1 to two hundredths.
    const [sure] = stated({}).candidates;
    expect(Math.abs((sure?.kelvinPerWatt ?? 0) - 1)).toBeLessThan(0.1);
    expect(sure?.u).toBeLessThan(0.02);
    expect(sure?.u).toBeGreaterThan(0.015);
    const [open] = stated({ uncertaintyKelvinPerWatt: 20 }).candidates;
    expect(Math.abs((open?.kelvinPerWatt ?? 0) - 2)).toBeLessThan(4 * (open?.u ?? 0));
    // A coil that is settled long before its window: no window can be late.
    const blind = stated({ timeConstantS: 1e-4 });
    expect(blind.candidates).toEqual([{ tau: 1e-4, chance: 1, kelvinPerWatt: expect.closeTo(1, 12) as number, u: expect.closeTo(0.02, 12) as number }]);
    expect(blind.seen).toBe(0);
  });

  it('is told where the order is shuffled or the plan states the coils, and nowhere else', () => {
    expect([shuffled(), alternating, planSchema.parse({ ...alternating, sequence: { kind: 'randomised' } })].map((plan) => coilMemories(plan, []).size)).toEqual([1, 0, 0]);
    expect(reduced(alternating, slow).coilLags).toEqual([]);
  });

  it('forgets what was before a controller was reset, and cools while it rests', () => {
    const plan = shuffled({ coil: { kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0, timeConstantS: 10, uncertaintyTimeConstantS: 0 } });
    const [one, two] = expandPlan(plan);
    if (one === undefined || two === undefined) throw new Error('no points');
    const window = syntheticWindow(one, syntheticInjector(0), plan, syntheticEquipment, noErrors, noScatter, () => 0);
    const at = (point: typeof one, from: number, order: number) => ({ reduced: { point: point.index, attempt: 1, at: { ...point, width: seconds(order === 0 ? 12e-3 : 3e-3), voltage: one.voltage, channel: 1, injector: 0 }, outcome: { kind: 'no-mass' as const, reason: 'too-few-edges' as const, text: '' } }, window: { ...window, from: seconds(from), to: seconds(from + 3) }, order });
    const second = (from: number): number => {
      const windows = [at(one, 100, 0), at(two, from, 1)];
      return memoryOf(plan, windows).wattsOf((windows[1] as (typeof windows)[number]).reduced, 0);
    };
    const cold = second(1);
    expect(second(105)).toBeGreaterThan(cold + 0.2);
    expect(second(120)).toBeGreaterThan(cold);
    expect(second(120)).toBeLessThan(second(105));
    expect(second(1000)).toBeCloseTo(cold, 9);
    expect(memoryOf(plan, []).wattsOf(at(one, 1, 0).reduced, 0)).toBe(0);
  });
});

describe('RED-140 coils of different types', () => {
  // Two types on one bench; the synthetic plan has four injectors.
  const twoTypes = (plan: Plan): Plan => ({ ...plan, injectors: plan.injectors.map((i, k) => ({ ...i, type: k % 2 === 0 ? 'T' : 'U' })) });
  const heat = (type: string, kelvinPerWatt: number, timeConstantS: number) => ({ type, kelvinPerWatt, uncertaintyKelvinPerWatt: 0, timeConstantS, uncertaintyTimeConstantS: 0 });

  it('have the thermal data of their own type, and those of the plan where theirs state none', () => {
    const base = twoTypes(shuffled({ coil: { kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0.5, timeConstantS: 4, uncertaintyTimeConstantS: 1 } }));
    const lags = reduced({ ...base, types: [heat('U', 2, 10)] }, slow).coilLags;
    expect(lags.find((l) => l.type === 'U')).toMatchObject({ stated: true, candidates: [{ tau: 10, kelvinPerWatt: 2, u: 0 }] });
    expect(lags.find((l) => l.type === 'T')?.candidates).toHaveLength(3);
    expect(lags.find((l) => l.type === 'T')).toEqual(reduced(base, slow).coilLags.find((l) => l.type === 'T'));
    // Resistance alone leaves the thermal data those of the plan.
    expect(warmthOf({ ...base, types: [{ type: 'U', resistanceOhm: 12 }] }, [], 'U')).toEqual({ kelvinPerWatt: 1, u: 0.5 });
  });

  it('in an order that tells nothing: of the type that states them they are told, of the other the bound stays', () => {
    const plan = { ...twoTypes(alternating), types: [heat('U', 2, 10)] };
    const { cells, coilLags } = reduced(plan, slow);
    expect(coilLags.map((l) => l.type)).toEqual(['U']);
    for (const cell of cells) {
      if (cell.kind !== 'line') throw new Error('no line');
      const of = (quantity: string): boolean => cell.shared.some((s) => s.source.quantity === quantity);
      expect([of('coil-late'), cell.injector % 2]).toEqual([cell.injector % 2 === 0, cell.injector % 2]);
    }
  });

  it('take their watts by the resistance of the injector, else of the type, else of the plan, else the usual one', () => {
    const base = twoTypes(shuffled());
    const plan = planSchema.parse({ ...base, injectors: base.injectors.map((i, k) => (k === 0 ? { ...i, coilResistanceOhm: 10 } : i)), types: [{ type: 'T', resistanceOhm: 12, uncertaintyOhm: 0.3 }], look: { ...base.look, coilOhm: 16 } });
    expect([0, 2, 1].map((injector) => statedOhmOf(plan, injector))).toEqual([{ ohm: 10, u: 0.3 }, { ohm: 12, u: 0.3 }, { ohm: 16, u: 0.01 * Math.SQRT2 * 16 }]);
    expect([ohmOf(plan, 2), ohmOf(base, 2)]).toEqual([12, 14]);
    expect(statedOhmOf(base, 2)).toBeNull();
  });
});

describe('RED-131 kelvins a watt where the period changes', () => {
  it('are the usual ones, those of the plan, or those of the windows where these know better', () => {
    const stated = shuffled({ coil: { kelvinPerWatt: 1.2, uncertaintyKelvinPerWatt: 0.1, timeConstantS: 4, uncertaintyTimeConstantS: 1 } });
    expect(warmthOf(alternating, [], 'T')).toEqual(usualCoil);
    expect(warmthOf(stated, [], 'T')).toEqual({ kelvinPerWatt: 1.2, u: 0.1 });
    const lag = (u: number) => ({ type: 'T', seen: 1, stated: false, candidates: [{ tau: 4, chance: 0.5, kelvinPerWatt: 1.9, u }, { tau: 8, chance: 0.5, kelvinPerWatt: 2.1, u }] });
    expect(warmthOf(alternating, [lag(0.1)], 'T').kelvinPerWatt).toBeCloseTo(2, 12);
    expect(warmthOf(alternating, [lag(0.1)], 'T').u).toBeCloseTo(Math.hypot(0.1, 0.1), 12);
    expect(warmthOf(alternating, [lag(1)], 'T')).toEqual(usualCoil);
    expect(warmthOf(alternating, [lag(0.1)], 'another type')).toEqual(usualCoil);
  });
});

describe('RED-130 the warmth of a coil, step by step', () => {
  it('is that of rest, purge, settling and window, one after the other, on each channel by itself', () => {
    const tau = 6;
    const base = shuffled({ coil: { kelvinPerWatt: 1, uncertaintyKelvinPerWatt: 0, timeConstantS: tau, uncertaintyTimeConstantS: 0 } });
    const plan = planSchema.parse({ ...base, settleS: 1.5, injectors: base.injectors.map((i, k) => ({ ...i, ...(k === 1 ? { coilResistanceOhm: 2.5 } : {}) })) });
    const [point] = expandPlan(plan);
    if (point === undefined) throw new Error('no points');
    const window = syntheticWindow(point, syntheticInjector(0), plan, syntheticEquipment, noErrors, noScatter, () => 0);
    const made = (order: number, injector: number, width: number, from: number, length: number, role: typeof point.role = 'measure') => ({
      reduced: { point: order, attempt: 1, at: { ...point, role, injector, channel: injector + 1, width: seconds(width) }, outcome: { kind: 'no-mass' as const, reason: 'too-few-edges' as const, text: '' } },
      window: { ...window, from: seconds(from), to: seconds(from + length) },
      order,
    });
    // Two channels in turn, a rest of some time constants' size, a first look, which has no purge, and a zero point, which drives nothing.
    const windows = [made(0, 0, 12e-3, 100, 4, 'look'), made(1, 1, 3e-3, 110, 2), made(2, 0, 3e-3, 118, 3), made(3, 0, 0, 123, 20, 'zero'), made(4, 1, 12e-3, 150, 5), made(5, 0, 8e-3, 160, 3), made(6, 0, point.period, 168, 2)];
    const memory = memoryOf(plan, windows.toReversed());
    const [dt, purge] = [1e-4, plan.purge];
    const power = (ohm: number, width: number, period: number): number => (point.voltage ** 2 / ohm) * (width >= period ? 1 : Math.max(0, width - 1.5 * typicalDeadTime(point.voltage)) / period);
    for (const injector of [0, 1]) {
      const ohm = injector === 1 ? 2.5 : 14;
      let [watts, until] = [0, Number.NaN];
      const follow = (target: number, time: number): number => {
        let sum = 0;
        const steps = Math.round(time / dt);
        for (let i = 0; i < steps; i += 1) {
          sum += watts + ((target - watts) * dt) / tau / 2;
          watts += ((target - watts) * dt) / tau;
        }
        return sum / steps;
      };
      for (const { reduced: one, window: { from, to } } of windows) {
        if (one.at.injector !== injector || one.at.role === 'zero') continue;
        const purgeS = one.at.role === 'look' ? 0 : purge.pulses * purge.periodMs * 1e-3;
        if (!Number.isNaN(until)) follow(0, from - plan.settleS - purgeS - until);
        if (purgeS > 0) follow(power(ohm, purge.widthMs * 1e-3, purge.periodMs * 1e-3), purgeS);
        const own = power(ohm, one.at.width, one.at.period);
        follow(own, plan.settleS);
        const off = follow(own, to - from) - own;
        until = to;
        expect(Math.abs(off), `${one.point}`).toBeGreaterThan(0.01);
        expect(memory.wattsOf(one, 0) / off, `${one.point}`).toBeCloseTo(1, 3);
      }
    }
  });
});

describe('RED-175 how long the current of a coil rises', () => {
  const pulses = (widths: readonly number[], begins: number, period = 0.02) => widths.map((width) => ({ width, period, mean: ((14 / 12) * (width - begins)) / period }));

  it('is told by the charge of pulses over their width, between that and half as much more', () => {
    const told = riseOf([...pulses([4e-3, 6e-3, 8e-3, 12e-3], 1.6e-3), ...pulses([5e-3, 9e-3], 1.6e-3, 0.04)], 0.7e-3);
    expect(told?.value).toBeCloseTo(2e-3, 12);
    expect(told?.u).toBeCloseTo(0.4e-3 / Math.sqrt(3), 12);
    // Short pulses, in which the current still rises, and a coil that is held open say something else, and are not asked.
    expect(riseOf([...pulses([4e-3, 6e-3, 8e-3, 12e-3], 1.6e-3), { width: 1e-3, period: 0.02, mean: 1 }, { width: 0.02, period: 0.02, mean: 5 }], 0.7e-3)).toEqual(told);
  });

  it('is that of a usual one where two widths alone are there, or currents make no sense', () => {
    expect(riseOf(pulses([4e-3, 8e-3, 4e-3, 2e-3], 1.6e-3), 0.7e-3)).toBeNull();
    expect(riseOf(pulses([4e-3, 6e-3, 8e-3], -1e-3), 0.7e-3)).toBeNull();
    expect(riseOf(pulses([4e-3, 6e-3, 8e-3], 3e-3), 0.7e-3)).toBeNull();
    expect(riseOf([4e-3, 6e-3, 8e-3].map((width) => ({ width, period: 0.02, mean: 0 })), 0.7e-3)).toBeNull();
    expect(usualRise(1e-3)).toEqual({ value: 1.5e-3, u: expect.closeTo(0.45e-3, 12) as number });
  });

  it('so what a coil that follows late is late by from rest is right for coils that rise more slowly than usual, and in the uncertainty where no current tells it', () => {
    const coil = { kelvinPerWatt: 2, tau: 30 };
    const plan = shuffled({ coil: { kelvinPerWatt: 2, uncertaintyKelvinPerWatt: 0, timeConstantS: 30, uncertaintyTimeConstantS: 0 } });
    const truth = lines(inTruth({ ...coil, rise: { s: 2.2e-3, read: false } }));
    const [untold, told] = [false, true].map((read) => lines(reduced(plan, { ...coil, rise: { s: 2.2e-3, read } })));
    const at14 = (list: readonly LineCell[] = []) => list.map((cell, i) => ({ cell, off: Math.abs(cell.deadTime.value - (truth[i]?.deadTime.value ?? Number.NaN)), u: partOf(cell)?.onDeadTime ?? 0 })).filter(({ cell }) => cell.voltage === 14);
    const mean = (list: readonly number[]): number => list.reduce((sum, one) => sum + one, 0) / list.length;
    expect(at14(told)).toHaveLength(4);
    expect(mean(at14(told).map((o) => o.off))).toBeLessThan(mean(at14(untold).map((o) => o.off)) / 2);
    for (const { off, u } of [...at14(told), ...at14(untold)]) expect(off).toBeLessThan(3.5 * u);
  });

  it('and how well that is known is in the uncertainty: worse where it is that of a usual one', () => {
    const ofAll = shuffled({ coil: { kelvinPerWatt: 2, uncertaintyKelvinPerWatt: 0, timeConstantS: 30, uncertaintyTimeConstantS: 0 } });
    const plan = planSchema.parse({ ...ofAll, axes: { ...ofAll.axes, voltageV: [14] } });
    const usual = 1.5 * typicalDeadTime(14);
    const [untold, told] = [false, true].map((read) => lines(reduced(plan, { kelvinPerWatt: 2, tau: 30, rise: { s: usual, read } })));
    expect(untold).toHaveLength(4);
    untold?.forEach((cell, i) => {
      const other = told?.[i];
      if (other === undefined) throw new Error('no line');
      expect(cell.deadTime.value / other.deadTime.value).toBeCloseTo(1, 9);
      expect((partOf(cell)?.onDeadTime ?? 0) / (partOf(other)?.onDeadTime ?? 1)).toBeGreaterThan(1.00005);
    });
  });
});
