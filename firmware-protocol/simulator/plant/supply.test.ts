import { describe, expect, it } from 'vitest';
import { simulatePulse } from './injector.ts';
import { NOMINAL_INJECTOR } from './injector-type.ts';
import { driveAt, SOURCE_OHM, Supply } from './supply.ts';

describe('supply', () => {
  it('slews at 20 V/s to its set value, which its read-back shows exactly: the truth is off by the error', () => {
    const supply = new Supply(0.008);
    supply.command(0, 14);
    expect(supply.at(250_000)).toBeCloseTo(5, 9);
    expect(supply.at(2e6)).toBeCloseTo(13.992, 9);
    expect(supply.readback(2e6, 0)).toBeCloseTo(14, 9);
    expect(supply.readback(2e6, 1)).toBeCloseTo(14 - SOURCE_OHM, 9);
    supply.command(2e6, 9);
    expect(supply.at(2.1e6)).toBeCloseTo(11.992, 9);
    supply.command(2.1e6, 0);
    expect(supply.at(4e6)).toBe(0);
    expect(supply.readback(4e6, 0)).toBe(0);
  });

  it('never exceeds 20 V or a lower limit of a fault, and is cut by the emergency stop whatever is commanded', () => {
    const supply = new Supply(0);
    supply.command(0, 30);
    expect(supply.at(5e6)).toBe(20);
    supply.limit(5e6, 10);
    expect(supply.at(9e6)).toBe(10);
    supply.cut(9e6, true);
    expect(supply.at(11e6)).toBe(0);
    supply.command(11e6, 12);
    expect(supply.at(13e6)).toBe(0);
    supply.cut(13e6, false);
    supply.limit(13e6, null);
    expect(supply.at(15e6)).toBe(12);
  });

  it('sags at the coil by the current through 30 milliohm of source and harness and the switch', () => {
    const { current } = simulatePulse(NOMINAL_INJECTOR, driveAt(14), 4e5, 20, 20e-3, undefined, 20e-3);
    expect(current).toBeCloseTo(14 / 12.08, 3);
    expect(14 - current * 12).toBeCloseTo(0.0927, 2);
  });
});
