import { describe, expect, it } from 'vitest';
import { chiSquareBelow } from '../distributions/distributions.ts';
import { carried, randomPart, sharedPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { lineAt, madeRun, normalFrom, syntheticInjector, syntheticPlan } from './synthetic-run.test-helper.ts';
import { typeSpreadOf, spreadWords, typeSpreads } from './type-spread.ts';

const below = (z: number): number => 0.5 + (Math.sign(z) * chiSquareBelow(z * z, 1)) / 2;

/** One value an injector: what it is, its own scatter, and an error that all have in common. */
const member = (i: number, value: number, u: number, uShared: number): Carried => carried(value, [randomPart(errorSource('line-height', String(i)), u, 1e7, String(i)), sharedPart(errorSource('k-factor'), uShared)]);

describe('CMP-7: how injectors of a type differ', () => {
  it('what measuring adds is taken out, and an error that all have in common is in the mean and not in the spread', () => {
    const values = [-3, -1, 0, 1, 3];
    const s = typeSpreadOf(values.map((v, i) => member(i, 100 + v, 1, 5)));
    expect(s.injectors).toBe(5);
    expect(s.seen).toBeCloseTo(Math.sqrt(5), 12);
    expect(s.measuring).toBeCloseTo(1, 9);
    expect(s.left).toBeCloseTo(2, 9);
    expect(s.mean.u).toBeCloseTo(Math.hypot(5, 1 / Math.sqrt(5)), 6);
    const none = typeSpreadOf(values.map((v, i) => member(i, 100 + v, 4, 5)));
    expect(none.left).toBe(0);
    expect(spreadWords({ quantity: 'slope', voltage: 14, pressure: 4e5, ...none })).toContain('no spread of the type is shown');
    expect(typeSpreadOf(values.slice(0, 2).map((v, i) => member(i, v, 1, 0))).tolerance).toBeNull();
  });

  it('CMP-8: the interval holds 95 % of the type with 95 % confidence or more, whether measuring adds nothing or as much as the injectors differ', () => {
    const normal = normalFrom(11);
    for (const u of [0, 0.5, 1]) {
      const n = 8;
      const trials = 400;
      let held = 0;
      for (let t = 0; t < trials; t += 1) {
        const common = 2 * normal();
        const { tolerance } = typeSpreadOf(Array.from({ length: n }, (_, i) => member(i, normal() + u * normal() + common, u, 2)));
        if (tolerance !== null && below(tolerance.high) - below(tolerance.low) >= 0.95) held += 1;
      }
      // Three standard deviations of the count below 95 %.
      expect(held / trials, `u = ${u}`).toBeGreaterThan(0.95 - 3 * Math.sqrt((0.95 * 0.05) / trials));
    }
  });

  it('CMP-10: of all runs of an archive, an injector that was measured more than once as its mean, other types left out', () => {
    const plan = syntheticPlan({ voltageV: [12] }, 4);
    const types = ['A', 'A', 'A', 'B'];
    const runs = [7, 8].map((seed) => ({ ...madeRun({ plan, seed, injector: (i) => syntheticInjector(i) }), types }));
    const spreads = typeSpreads(runs, 'A');
    expect(spreads.map((s) => [s.quantity, s.injectors, s.results])).toEqual([['dead-time', 3, 6], ['slope', 3, 6]]);
    const [dead] = spreads;
    expect(dead?.tolerance?.low).toBeLessThan(dead?.mean.value ?? 0);
    expect(typeSpreads(runs, 'B')).toEqual([]);
    expect(dead?.mean.value).toBeCloseTo([0, 1, 2].flatMap((i) => runs.map((r) => lineAt(r, i, 12).deadTime.value)).reduce((a, b) => a + b, 0) / 6, 12);
  });
});
