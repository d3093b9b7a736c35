import { describe, expect, test } from 'vitest';
import type { BenchCapabilities } from '../../../app/bench/port.ts';
import { planSchema } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { celsius, kilopascals, milliseconds, seconds, volts } from '../../../app/quantities/quantity.ts';
import { frame } from '../../live/frames.test-helper.ts';
import { burstProblem } from './burst-form.ts';
import { expectationsOf, isInside } from './expectations.ts';
import { interlocksOf, statisticsRows } from './words.ts';

const capabilities: BenchCapabilities = {
  channels: 8, timerResolution: seconds(1e-6), minWidth: milliseconds(0.1), maxWidth: milliseconds(50), minPeriod: milliseconds(1), maxPeriod: seconds(1), maxCount: 1e6,
  minSupply: volts(0), maxSupply: volts(18), safeSupply: volts(0), pressure: { commandable: true, min: kilopascals(100), max: kilopascals(600) },
  deadManMin: seconds(0.2), deadManMax: seconds(5), telemetryMaxHz: 100, interlocks: ['emergency-stop', 'cover', 'ventilation', 'fuel-shut-off'],
};
const plan = planSchema.parse({
  planVersion: 1, name: 'p', injectors: [{ serialNumber: '1', type: 't', channel: 1 }],
  axes: { voltageV: [12], pressureKpa: [400], widthMs: [4], periodMs: [20], replicates: 1 },
  supply: { toleranceV: 0.1 }, condition: { pressureToleranceKpa: 3, temperatureMinC: 18, temperatureMaxC: 25 },
  guards: [{ id: 'a', signal: 'current-a', high: 4, level: 'trip' }, { id: 'b', signal: 'current-a', high: 3, level: 'note' }],
});
const point: Point = { index: 0, role: 'measure', injector: 0, channel: 1, voltage: volts(12), pressure: kilopascals(400), width: milliseconds(4), period: milliseconds(20), replicate: 0 };

describe('what is expected', () => {
  test('of a disarmed bench: the safe supply, whatever was set before', () => {
    const found = expectationsOf({ frame: frame({ at: 1 }), capabilities, run: { plan, point }, set: { supplyV: 14, pressureKpa: null, periodMs: null } });
    expect(found.supply).toEqual({ setPoint: 0, low: -0.5, high: 0.5 });
  });

  test('of a run: its point, its tolerances, and the tightest of its guards', () => {
    const found = expectationsOf({ frame: frame({ at: 1, armed: true }), capabilities, run: { plan, point }, set: null });
    expect(found.supply).toEqual({ setPoint: 12, low: 11.9, high: 12.1 });
    expect(found.pressure).toEqual({ setPoint: 400e3, low: 397e3, high: 403e3 });
    expect(found.railTemperature).toEqual({ setPoint: null, low: celsius(18), high: celsius(25) });
    expect(found.current).toEqual({ setPoint: null, low: null, high: 3 });
  });

  test('of work by hand: what was set, and nothing where nothing was', () => {
    const armed = expectationsOf({ frame: frame({ at: 1, armed: true }), capabilities, run: null, set: { supplyV: 14, pressureKpa: 300, periodMs: null } });
    expect(armed.supply.setPoint).toBe(14);
    expect(armed.pressure).toEqual({ setPoint: 300e3, low: 296e3, high: 304e3 });
    const nothing = expectationsOf({ frame: frame({ at: 1, armed: true }), capabilities, run: null, set: null });
    expect(nothing.supply).toEqual({ setPoint: null, low: null, high: null });
    expect(nothing.pressure.setPoint).toBeNull();
  });

  test('limits belong to the band; an open side limits nothing', () => {
    expect(isInside(3, { setPoint: null, low: null, high: 3 })).toBe(true);
    expect(isInside(3.001, { setPoint: null, low: null, high: 3 })).toBe(false);
    expect(isInside(-1e9, { setPoint: null, low: null, high: 3 })).toBe(true);
  });
});

describe('a burst by hand', () => {
  const good = { channel: 1, widthMs: 4, periodMs: 20, count: 500 };
  test('that the controller can do has no problem', () => expect(burstProblem(good, capabilities)).toBe(''));
  test.each([
    [{ channel: 9 }, /channels 1 to 8/], [{ channel: 1.5 }, /channels/], [{ widthMs: Number.NaN }, /pulse width/], [{ widthMs: 0.05 }, /0\.1 to 50 ms/],
    [{ periodMs: 0.5 }, /period must be/], [{ widthMs: 18 }, /85 %/], [{ count: 0 }, /whole number/], [{ count: 100_001 }, /100000/], [{ count: 1.5 }, /whole number/],
  ])('%o is refused in words', (change, words) => expect(burstProblem({ ...good, ...change }, capabilities)).toMatch(words));
});

describe('words', () => {
  test('each interlock is named; a 1 is healthy; one that is not known keeps its own name', () => {
    expect(interlocksOf(capabilities.interlocks, 0b1010).map(({ name, healthy, closed, open }) => `${name} ${healthy ? closed : open}`)).toEqual([
      'Emergency stop pressed', 'Cover closed', 'Ventilation not running', 'Fuel shut off closed',
    ]);
  });

  test('counts of the line become rows, those inside others too', () => {
    expect(statisticsRows({ linesSent: 3, badLines: { form: 1 }, brandNew: 2, text: 'x' })).toEqual([
      { text: 'Lines sent', count: 3 }, { text: 'Lines dropped: not of the agreed form', count: 1 }, { text: 'Brand new', count: 2 },
    ]);
  });
});
