import { describe, expect, it } from 'vitest';
import { heldOf } from './imperfections.ts';
import type { Held } from './imperfections.ts';

const deadTimes = (held: readonly Held[]): readonly Held[] => held.filter((h) => h.quantity === 'dead time');
const worst = (held: readonly Held[]): number => Math.max(...held.filter((h) => h.state === 'stated').map((h) => Math.abs(h.z)));

describe('benches of another hand', () => {
  it('RED-19: hold the truth of lines, static flows and tables where nothing is wrong with them', () => {
    const held = [301, 302].flatMap((seed) => heldOf('none', seed, {}));
    for (const quantity of ['dead time', 'slope', 'static', 'static/slope', 'map X', 'map m', 'short, measured'] as const) {
      const values = held.filter((h) => h.quantity === quantity);
      expect(values.length, quantity).toBeGreaterThan(10);
      expect(worst(values), quantity).toBeLessThan(6);
    }
    // Nobody does better than who knows all variances, where lines end, and one slope.
    for (const { overGls } of deadTimes(held)) expect(overGls).toBeGreaterThan(0.6);
  }, 60_000);

  it('have imperfections that move what they should, and none that does nothing', () => {
    const shift = (what: Parameters<typeof heldOf>[2], quantity: Held['quantity'], kind = 'shuffled'): number => {
      const [plain, with_] = [heldOf('', 303, {}, kind), heldOf('', 303, what, kind)].map((held) => held.filter((h) => h.quantity === quantity));
      return Math.max(...(plain ?? []).map((h, i) => Math.abs(h.z - (with_?.[i]?.z ?? h.z))));
    };
    expect(shift({ coil: { kelvinPerWatt: 2, tauS: 30 } }, 'dead time', 'alternating')).toBeGreaterThan(1);
    // Taken off where the order tells it (RED-130).
    expect(shift({ coil: { kelvinPerWatt: 2, tauS: 30 } }, 'dead time')).toBeLessThan(1.3);
    expect(shift({ driftPercentPerH: 0.5 }, 'slope')).toBeGreaterThan(1);
    expect(shift({ walkPercentPerRootH: 0.5 }, 'slope')).toBeGreaterThan(0.5);
    expect(shift({ dip: { pascals: 2000, tauS: 3e-4 } }, 'dead time')).toBeGreaterThan(0.5);
    expect(shift({ meterCurve: { percent: 0.5, points: 3 } }, 'dead time')).toBeGreaterThan(0.5);
    // Gross windows are there, and count for nothing (RED-81).
    expect(shift({ gross: { part: 0.01, percent: 10 } }, 'dead time')).toBeGreaterThan(0.01);
    expect(shift({ gross: { part: 0.01, percent: 10 } }, 'dead time')).toBeLessThan(0.3);
    expect(shift({ studentDof: 3 }, 'dead time')).toBeGreaterThan(0.1);
    expect(shift({ curvaturePercent: 0.3 }, 'dead time')).toBeGreaterThan(1);
    expect(shift({ inRotationPercent: 1 }, 'dead time')).toBeGreaterThan(0.5);
    expect(shift({ sagOhm: 0.1 }, 'dead time')).toBeGreaterThan(1);
  }, 120_000);
});
