/** The figures of the proof that the dead-man works, of plans and controllers of all kinds. */
import { describe, expect, it } from 'vitest';
import type { BenchCapabilities, BenchFrame } from '../bench/port.ts';
import { amperes, celsius, kilopascals, microseconds, milliseconds, seconds, volts } from '../quantities/quantity.ts';
import { missingOfDeadMan, missingOfSafe, proofBurst, proofSilence } from './proof.ts';
import { testCapabilities, testPlan } from './scripted-bench.test-helper.ts';

const plan = (deadManMs: number) => testPlan({ link: { deadManMs }, injectors: [{ serialNumber: 'A-7', type: 'T', channel: 7 }, { serialNumber: 'A-2', type: 'T', channel: 2 }] });
const able = (changes: Partial<BenchCapabilities>): BenchCapabilities => ({ ...testCapabilities, ...changes });

describe('RUN-12 the silence', () => {
  it.each([
    ['a quarter more than a long dead-man', 4000, 5],
    ['half a second more than a short one', 1000, 1.5],
    ['the same of one of 2 s', 2000, 2.5],
    ['no less than the controller can', 100, 0.7],
    ['no more than the controller can', 20_000, 6.25],
  ])('is %s', (_, deadManMs, silence) => {
    expect(proofSilence(plan(deadManMs), testCapabilities)).toBeCloseTo(silence, 12);
  });
});

describe('RUN-12 the pulses', () => {
  it('are the shortest, on the first channel of the plan, for ten times as long as the silence', () => {
    expect(proofBurst(plan(1000), testCapabilities)).toEqual({ channel: 7, width: microseconds(50), period: 0.02, count: 750 });
    expect(proofBurst(plan(1000), able({ minWidth: milliseconds(4.999) }))).toMatchObject({ width: milliseconds(4.999), period: 0.02, count: 750 });
    expect(proofBurst(plan(1001), testCapabilities).count).toBe(751);
  });

  it.each<[string, Partial<BenchCapabilities>, number, number]>([
    ['a quarter of the time at most', { minWidth: milliseconds(25) }, 0.1, 150],
    ['no faster than the controller can', { minPeriod: milliseconds(30) }, 0.03, 500],
    ['no slower than the controller can', { minWidth: milliseconds(25), maxPeriod: milliseconds(50) }, 0.05, 300],
    ['as slow as its count of pulses asks for', { maxCount: 100 }, 0.15, 100],
    ['fewer where it can neither count nor wait so long', { maxCount: 100, maxPeriod: milliseconds(100) }, 0.1, 100],
  ])('are driven %s', (_, changes, period, count) => {
    const burst = proofBurst(plan(1000), able(changes));
    expect(burst.period).toBeCloseTo(period, 12);
    expect(burst.count).toBe(count);
  });
});

describe('RUN-12 RUN-4 what must be seen after it', () => {
  const capabilities = able({ safeSupply: volts(2) });
  const frame = (changes: Partial<BenchFrame> = {}): BenchFrame => ({
    at: seconds(5), number: 50, bootId: 'b', supply: volts(2.5), current: amperes(0), pressure: kilopascals(400), railTemperature: celsius(21), meterTemperature: celsius(21),
    edges: 0, lastEdgeAt: seconds(0), burst: { number: 1, active: false, commanded: 100, done: 99 }, armed: false, fault: { code: 'dead-man', text: 'x' }, interlocks: 7, ...changes,
  });

  it.each<[string, Partial<BenchFrame>, string | null]>([
    ['all of it', {}, null],
    ['supply just above', { supply: volts(2.51) }, 'it did not take the supply to its safe value of 2 V; the read-back is 2.51 V.'],
    ['supply not a number', { supply: volts(Number.NaN) }, 'it did not take the supply to its safe value of 2 V; the read-back is NaN V.'],
    ['armed', { armed: true }, 'it stayed armed.'],
    ['pulses', { burst: { number: 1, active: true, commanded: 100, done: 99 } }, 'it did not stop the pulses.'],
  ])('%s', (_, changes, missing) => {
    expect(missingOfSafe(frame(changes), capabilities)).toBe(missing);
    expect(missingOfDeadMan(frame(changes), capabilities)).toBe(missing);
  });

  it('is the fault of the dead-man, and pulses that were cut short', () => {
    expect(missingOfDeadMan(frame({ fault: null }), capabilities)).toBe('it latched no watchdog fault.');
    expect(missingOfDeadMan(frame({ fault: { code: 'over-current', text: 'x' } }), capabilities)).toBe('it latched no watchdog fault.');
    expect(missingOfDeadMan(frame({ burst: { number: 1, active: false, commanded: 100, done: 100 } }), capabilities)).toBe('it did not stop the pulses.');
  });
});
