import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import type { BenchFrame } from '../bench/port.ts';
import type { Guard } from '../plan/plan.ts';
import { amperes, celsius, kelvins, kilopascals, pascals, seconds, volts } from '../quantities/quantity.ts';
import { clearGuard, guardReading, Guards, guardText, stepGuard } from './guards.ts';
import type { GuardedWork, GuardMemory } from './guards.ts';
import { testPlan } from './scripted-bench.test-helper.ts';

function guard(changes: Record<string, unknown> = {}): Guard {
  const all = { id: 'g', signal: 'pressure-kpa', low: 300, high: 500, hysteresis: 10, dwellS: 2, level: 'hold', clearS: 5, ...changes };
  const [made] = testPlan({ guards: [all] }).guards;
  if (made === undefined) throw new Error('no guard');
  return made;
}

/** Readings at whole seconds; the seconds at which the guard was active. */
function activeAt(g: Guard, values: readonly (number | null)[]): number[] {
  let memory: GuardMemory = clearGuard;
  const active: number[] = [];
  values.forEach((value, second) => {
    memory = stepGuard(g, memory, value, second);
    if (memory.active) active.push(second);
  });
  return active;
}

describe('stepGuard', () => {
  it('RUN-21 acts after the dwell, not before, and not when it was broken', () => {
    expect(activeAt(guard(), [400, 510, 510, 400, 510, 510, 400])).toEqual([]);
    expect(activeAt(guard(), [400, 510, 510, 510, 510])).toEqual([3, 4]);
    expect(activeAt(guard({ dwellS: 0 }), [400, 510])).toEqual([1]);
  });

  it('RUN-21 the limits themselves are inside; both sides are watched', () => {
    expect(activeAt(guard({ dwellS: 0 }), [300, 500])).toEqual([]);
    expect(activeAt(guard({ dwellS: 0 }), [299.9, 400])).not.toEqual([]);
    expect(activeAt(guard({ dwellS: 0, low: undefined }), [0, 500])).toEqual([]);
    expect(activeAt(guard({ dwellS: 0, high: undefined }), [9999])).toEqual([]);
  });

  it('RUN-22 a hold clears when inside by the hysteresis for clearS without a break', () => {
    const values = [510, 510, 510, 495, 495, 489, 489, 489, 495, 489, 489, 489, 489, 489, 489];
    expect(activeAt(guard(), values)).toEqual([2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13]);
  });

  it('RUN-21 inside by the hysteresis is meant on the side that was left, the low one too', () => {
    expect(activeAt(guard({ dwellS: 0, level: 'note' }), [290, 295, 305, 309, 310])).toEqual([0, 1, 2, 3]);
    expect(activeAt(guard({ dwellS: 0, level: 'note' }), [510, 505, 495, 491, 490])).toEqual([0, 1, 2, 3]);
  });

  it('RUN-21 note and trip clear as soon as inside by the hysteresis', () => {
    for (const level of ['note', 'trip']) expect(activeAt(guard({ level }), [510, 510, 510, 495, 490, 510])).toEqual([2, 3]);
  });

  it('RUN-21 a signal that does not apply counts as inside; one that is not a number as outside', () => {
    expect(activeAt(guard(), [510, 510, null, 510, 510, 400])).toEqual([]);
    expect(activeAt(guard(), [510, 510, 510, null, null, null, null, null, null])).toEqual([2, 3, 4, 5, 6, 7]);
    for (const limits of [{}, { low: undefined }, { high: undefined }]) expect(activeAt(guard({ dwellS: 0, ...limits }), [Number.NaN])).toEqual([0]);
  });

  it('RUN-21 never acts on a signal that stays inside, always on one that stays outside for the dwell', () => {
    fc.assert(
      fc.property(fc.array(fc.double({ min: 300, max: 500, noNaN: true })), fc.array(fc.double({ min: 500.001, noNaN: true }), { minLength: 3 }), (inside, outside) => {
        expect(activeAt(guard(), inside)).toEqual([]);
        expect(activeAt(guard(), [...inside, ...outside])).toContain(inside.length + 2);
      }),
    );
  });

  it('changes nothing when nothing changes', () => {
    expect(stepGuard(guard(), clearGuard, 400, 1)).toBe(clearGuard);
    const out = stepGuard(guard(), clearGuard, 600, 1);
    expect(stepGuard(guard(), out, 600, 2)).toBe(out);
    const active = stepGuard(guard(), out, 600, 3);
    expect(stepGuard(guard(), active, 600, 4)).toBe(active);
  });
});

describe('guardText', () => {
  it('says signal, reading and limits with units', () => {
    expect(guardText(guard(), 512.34)).toBe('Rail pressure 512.3 kPa, allowed 300 to 500 kPa');
    expect(guardText(guard({ signal: 'current-a', low: undefined, high: 4 }), 5)).toBe('Supply current 5.00 A, allowed at most 4 A');
    expect(guardText(guard({ high: undefined }), null)).toBe('Rail pressure not known, allowed at least 300 kPa');
  });
});

describe('RUN-191 guards over frames, of a run and of work by hand', () => {
  const at = (change: Partial<BenchFrame>): BenchFrame => ({
    at: seconds(1), number: 1, bootId: 'b', supply: volts(14), current: amperes(0.9), pressure: kilopascals(400), railTemperature: celsius(20), meterTemperature: celsius(21),
    edges: 0, lastEdgeAt: seconds(0), burst: { number: 1, active: true, commanded: 1, done: 0 }, armed: true, fault: null, interlocks: 7, ...change,
  });
  const guardOf = (signal: Guard['signal'], limits: Pick<Guard, 'low' | 'high'>): Guard => ({ id: signal, signal, hysteresis: 0, dwellS: 0, level: 'trip', maxResumes: 0, clearS: 0, ...limits });
  const found = (of: Guard, frame: BenchFrame, work: GuardedWork): readonly unknown[] => {
    const values: unknown[] = [];
    new Guards([of], work).check(frame, 0, (_, __, after, value) => {
      values.push(after.active, value);
      return false;
    });
    return values;
  };
  const nothing: GuardedWork = { pressureKpa: Number.NaN, supplyV: Number.NaN, idleFlow: Number.NaN };

  it.each<readonly [Guard['signal'], Pick<Guard, 'low' | 'high'>, Partial<BenchFrame>, Partial<GuardedWork>, number]>([
    ['pressure-deviation-kpa', { low: -12, high: 12 }, { pressure: kilopascals(413) }, { pressureKpa: 400 }, 13],
    ['pressure-kpa', { high: 660 }, { pressure: kilopascals(661) }, {}, 661],
    ['rail-temperature-c', { high: 30 }, { railTemperature: celsius(31) }, {}, 31],
    ['meter-temperature-c', { low: 15 }, { meterTemperature: celsius(14) }, {}, 14],
    ['supply-deviation-v', { low: -0.3 }, { supply: volts(13.5) }, { supplyV: 14 }, -0.5],
    ['current-a', { high: 4 }, { current: amperes(4.1) }, {}, 4.1],
    ['idle-flow-ml-min', { high: 1 }, {}, { idleFlow: 1.5 }, 1.5],
  ])('%s', (signal, limits, change, work, value) => {
    expect(found(guardOf(signal, limits), at(change), { ...nothing, ...work })).toEqual([true, expect.closeTo(value, 9)]);
    // Nothing is held and nothing stands out of its limits: no guard has anything to say.
    expect(found(guardOf(signal, limits), at({}), nothing)).toEqual([]);
  });

  it.each<readonly [Guard['signal'], Pick<Guard, 'low' | 'high'>, Partial<BenchFrame>, boolean]>([
    ['pressure-kpa', { low: 300, high: 500 }, { pressure: pascals(500_000.000_3) }, true],
    ['pressure-kpa', { low: 300, high: 500 }, { pressure: pascals(499_999.999_7) }, false],
    ['pressure-kpa', { low: 300, high: 500 }, { pressure: pascals(299_999.999_8) }, true],
    ['pressure-kpa', { low: 300, high: 500 }, { pressure: pascals(300_000.000_2) }, false],
    ['pressure-kpa', { high: 500 }, { pressure: pascals(Number.NaN) }, true],
    ['rail-temperature-c', { high: 30 }, { railTemperature: kelvins(303.150_000_1) }, true],
    ['rail-temperature-c', { high: 30 }, { railTemperature: kelvins(303.149_999_9) }, false],
    ['meter-temperature-c', { low: 15 }, { meterTemperature: kelvins(288.149_999_9) }, true],
    ['meter-temperature-c', { low: 15 }, { meterTemperature: kelvins(288.150_000_1) }, false],
    ['current-a', { low: -1, high: 4 }, { current: amperes(4.000_000_002) }, true],
    ['current-a', { low: -1, high: 4 }, { current: amperes(-1.000_000_001) }, true],
    ['current-a', { low: -1, high: 4 }, { current: amperes(4) }, false],
    ['current-a', { low: -1, high: 4 }, { current: amperes(-1) }, false],
  ])('RUN-173 %s of %j acts on %j, however near to its limit: %s', (signal, limits, change, acts) => {
    expect(found(guardOf(signal, limits), at(change), nothing).length > 0).toBe(acts);
  });

  it('RUN-173 a set of guards does what each guard by itself does, with readings that are not numbers and signals that do not apply', () => {
    const limits = fc.constantFrom({}, { low: undefined }, { high: undefined });
    const guardOfSignal = (signal: string) =>
      fc.tuple(limits, fc.constantFrom('note', 'hold', 'trip'), fc.constantFrom(0, 2)).map(([limit, level, dwellS]) => guard({ id: signal, signal, ...limit, level, dwellS }));
    // Between its limits, at them, beyond them; and, of what is derived, that it does not apply.
    const value = fc.oneof(fc.constantFrom(300, 500, 299.999, 500.001, Number.NaN, Number.POSITIVE_INFINITY), fc.double({ min: 280, max: 520, noNaN: true }));
    const seconds = fc.array(fc.record({ pressure: value, held: fc.option(value, { nil: Number.NaN }), idle: fc.option(fc.double({ min: 280, max: 520, noNaN: true }), { nil: Number.NaN }) }), { maxLength: 40 });
    fc.assert(
      fc.property(fc.tuple(guardOfSignal('pressure-kpa'), guardOfSignal('pressure-deviation-kpa')), seconds, (pair, readings) => {
        let held = Number.NaN;
        const set = new Guards(pair, { supplyV: Number.NaN, idleFlow: Number.NaN, get pressureKpa() { return held; } });
        const alone: GuardMemory[] = [clearGuard, clearGuard];
        readings.forEach((reading, second) => {
          held = reading.held;
          const told: unknown[] = [];
          // A pressure that is not a number is no deviation either; one that is so of nothing held is none.
          const values = [reading.pressure, Number.isNaN(held) ? null : reading.pressure - held];
          set.check(at({ pressure: kilopascals(reading.pressure) }), second, (of, before, after) => {
            told.push([of.id, before.active, after.active]);
            return false;
          });
          const expected = pair.flatMap((of, i) => {
            const before = alone[i] ?? clearGuard;
            const after = stepGuard(of, before, values[i] ?? null, second);
            alone[i] = after;
            return after === before && !after.active ? [] : [[of.id, before.active, after.active]];
          });
          expect(told).toEqual(expected);
        });
      }),
    );
  });

  it('RUN-194 the reading of a guard as values', () => {
    expect(guardReading(guardOf('rail-temperature-c', { high: 30 }), 31)).toEqual({ quantity: 'rail-temperature-c', found: 31, low: null, high: 30, unit: 'degC' });
  });

  it('a guard that is not clear is told with what it reads, one that only notes is not', () => {
    const guards = new Guards([{ ...guardOf('current-a', { high: 4 }), level: 'note' }, guardOf('rail-temperature-c', { high: 30 })], nothing);
    const hot = at({ current: amperes(5), railTemperature: celsius(31) });
    expect(guards.notClear(hot)).toBeNull();
    guards.check(hot, 0, () => false);
    expect(guards.notClear(hot)).toBe('Guard rail-temperature-c is not clear. Fluid temperature in the rail 31.0 degC, allowed at most 30 degC.');
    expect(guards.notClear(at({ railTemperature: celsius(32) }))).toContain('in the rail 32.0 degC');
  });

  it('RUN-108 a leak that was found stays while an injector is driven and nothing is counted', () => {
    let idleFlow = 2;
    const guards = new Guards([guardOf('idle-flow-ml-min', { high: 1 })], { ...nothing, get idleFlow() { return idleFlow; } });
    guards.check(at({}), 0, () => false);
    idleFlow = Number.NaN;
    guards.check(at({}), 10, () => false);
    expect(guards.notClear(at({}))).not.toBeNull();
    idleFlow = 0.5;
    guards.check(at({}), 20, () => false);
    expect(guards.notClear(at({}))).toBeNull();
  });
});
