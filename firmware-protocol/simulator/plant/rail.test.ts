import { describe, expect, it } from 'vitest';
import { Rail } from './rail.ts';

describe('rail', () => {
  it('droops by 0.4 kPa for each mL/s and lets exactly the outflow in', () => {
    const rail = new Rail(400e3);
    const outflow = 684e-6;
    rail.advance(2, outflow);
    expect(400e3 - rail.pressure).toBeCloseTo(400, 3);
    expect(rail.inflowAfter(0.5, outflow)).toBeCloseTo(0.5 * outflow, 12);
    expect(rail.sensed).toBeCloseTo(rail.pressure, 3);
  });

  it('solves its differential equation: closed form against small steps', () => {
    const rail = new Rail(400e3);
    const compliance = 7.5e-11 * 684;
    let deficit = 0;
    let sensed = 400e3;
    let inflow = 0;
    let closedInflow = 0;
    const dt = 1e-6;
    for (const [outflow, span] of [[4e-3, 0.003], [0, 0.017], [4e-3, 0.003], [1e-4, 0.05]] as const) {
      closedInflow += rail.inflowAfter(span, outflow);
      const before = deficit;
      let sum = 0;
      for (let t = 0; t < span - dt / 2; t += dt) {
        // Midpoint rule.
        const half = deficit + (dt / 2) * (outflow / compliance - deficit / 0.03);
        inflow += (compliance * half * dt) / 0.03;
        sum += half * dt;
        sensed += dt * ((400e3 - half - (sensed + (dt / 2) * ((400e3 - deficit - sensed) / 0.02))) / 0.02);
        deficit += dt * (outflow / compliance - half / 0.03);
      }
      expect(rail.meanPressure(span, outflow)).toBeCloseTo(400e3 - sum / span, 2);
      rail.advance(span, outflow);
      expect(deficit).not.toBe(before);
      expect(rail.pressure).toBeCloseTo(400e3 - deficit, 2);
      expect(rail.sensed).toBeCloseTo(sensed, 1);
    }
    expect(closedInflow / inflow).toBeCloseTo(1, 6);
  });

  it('does not care into how many spans time is cut', () => {
    const once = new Rail(400e3);
    const often = new Rail(400e3);
    once.advance(0.03, 1e-3);
    for (let i = 0; i < 30; i += 1) often.advance(0.001, 1e-3);
    expect(often.pressure).toBeCloseTo(once.pressure, 6);
    expect(often.sensed).toBeCloseTo(once.sensed, 6);
  });

  it('goes to a new aim like a first-order lag and relieves to the tank, not back through the meter', () => {
    const rail = new Rail(400e3);
    rail.aim(300e3);
    let back = 0;
    for (let i = 0; i < 25; i += 1) {
      rail.follow(0.02);
      back += rail.inflowAfter(0.02, 0);
      rail.advance(0.02, 0);
    }
    // One time constant: 1/e of the way is left, and the rail itself lags by its own 60 ms.
    expect(Math.abs(rail.pressure - (300e3 + 100e3 / Math.E))).toBeLessThan(6e3);
    for (let i = 0; i < 400; i += 1) {
      rail.follow(0.02);
      rail.advance(0.02, 0);
    }
    expect(rail.pressure).toBeCloseTo(300e3, 0);
    expect(back).toBe(0);
  });
});
