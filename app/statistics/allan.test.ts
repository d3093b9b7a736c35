import { describe, expect, it } from 'vitest';
import { allanRows, degreesOfFreedom, driftOfRecord, noiseOf, overlappingAllan, paysUntil, type AllanRow } from './allan.ts';
import { normals } from './normals.ts';

/** What has passed, from rates. */
function passed(rates: readonly number[], step = 1): readonly number[] {
  let sum = 0;
  return [0, ...rates.map((v) => (sum += v * step))];
}

const whiteRates = (seed: number, n: number, sigma = 1): readonly number[] => {
  const normal = normals(seed);
  return Array.from({ length: n }, () => sigma * normal());
};
const walked = (seed: number, n: number, sigma = 1): readonly number[] => passed(whiteRates(seed, n, sigma)).slice(1);

/** The record of 1000 rates of SP 1065, 12.4: a prime modulus generator. */
function thousand(): readonly number[] {
  let state = 1_234_567_890;
  return Array.from({ length: 1000 }, () => {
    const value = state / 2_147_483_647;
    state = Number((16_807n * BigInt(state)) % 2_147_483_647n);
    return value;
  });
}

describe('the overlapping Allan deviation', () => {
  it('RED-165 is that of the published examples: nine rates of NBS Monograph 140, and a thousand of SP 1065', () => {
    const nine = [passed([892, 809, 823, 798, 671, 644, 883, 903, 677])];
    expect(overlappingAllan(nine, 1, 1)).toBeCloseTo(91.22945, 4);
    expect(overlappingAllan(nine, 1, 2)).toBeCloseTo(85.95287, 4);
    const many = [passed(thousand())];
    for (const [m, published] of [[1, 2.922319e-1], [10, 9.159953e-2], [100, 3.241343e-2]] as const) expect(overlappingAllan(many, 1, m)).toBeCloseTo(published, 7);
  });

  it('is sigma over the root of the time for white rates, K sqrt(time / 3) for a walk, D time / sqrt(2) for a drift', () => {
    const n = 4000;
    for (const [rates, expected] of [
      [whiteRates(77_777, n), (t: number) => 1 / Math.sqrt(t)],
      [walked(77_778, n), (t: number) => Math.sqrt((2 * t * t + 1) / (6 * t))],
    ] as const) {
      for (const row of allanRows([passed(rates)], 1)) {
        // The least of the rows has some hundred degrees of freedom fewer than the first; each within four of its own standard deviations.
        expect(Math.abs(Math.log(row.deviation / expected(row.time)))).toBeLessThan(4 / Math.sqrt(2 * row.dof));
      }
    }
    const drift = allanRows([passed(Array.from({ length: 400 }, (_, i) => 0.01 * i * 2), 2)], 2);
    expect(drift.length).toBeGreaterThan(5);
    for (const row of drift) expect(row.deviation).toBeCloseTo((0.01 * row.time) / Math.SQRT2, 9);
  });

  it('takes no average across a gap between stretches, and averages over the time', () => {
    const [a, b] = [passed(whiteRates(7, 400)), passed(whiteRates(8, 400).map((v) => v + 1000))];
    expect(overlappingAllan([a, b], 1, 4)).toBeLessThan(1);
    const both = Math.sqrt((overlappingAllan([a], 1, 4) ** 2 + overlappingAllan([b], 1, 4) ** 2) / 2);
    expect(overlappingAllan([a, b], 1, 4)).toBeCloseTo(both, 12);
    const [one, half] = [allanRows([a], 1), allanRows([a], 0.5)];
    expect(half.map(({ time, deviation }) => [time * 2, deviation / 2])).toEqual(one.map(({ time, deviation }) => [time, deviation]));
  });

  it('its 95 % intervals hold the true deviation in 95 % of records of white rates and of walks', () => {
    const records = 300;
    for (const [make, expected, first] of [
      [whiteRates, (t: number) => 1 / Math.sqrt(t), 1_000_001],
      [walked, (t: number) => Math.sqrt((2 * t * t + 1) / (6 * t)), 2_000_001],
    ] as const) {
      const held = new Map<number, number>();
      for (let i = 0; i < records; i += 1) {
        for (const row of allanRows([passed(make(first + 7919 * i, 500))], 1)) {
          if (row.low < expected(row.time) && expected(row.time) < row.high) held.set(row.steps, (held.get(row.steps) ?? 0) + 1);
        }
      }
      expect(held.size).toBe(7);
      // Degrees of freedom are approximations, and the longest averages are few: a little less is a fact of the method.
      for (const count of held.values()) expect(count / records).toBeGreaterThan(0.9);
    }
  });
});

describe('which noise rules', () => {
  it('RED-166 is told from the correlation of neighbours, whatever drift there is', () => {
    const n = 2000;
    const read = whiteRates(11, n + 1);
    const drift = Array.from({ length: n }, (_, i) => i * 0.05);
    expect(noiseOf(read, 1)).toBe(2);
    expect(noiseOf(passed(whiteRates(12, n)), 1)).toBe(0);
    expect(noiseOf(passed(walked(13, n)), 1)).toBe(-2);
    for (const m of [1, 4, 16]) expect(noiseOf(passed(whiteRates(12, n).map((v, i) => v + (drift[i] as number))), m)).toBe(0);
    // A drift as strong as the steps of what is read: its differences would look like white rates.
    expect(noiseOf(read.map((v, i) => v + 0.00125 * i * i), 1)).toBe(2);
    expect(noiseOf(passed(whiteRates(12, 49 * 8)), 8)).not.toBe(null);
    expect(noiseOf(passed(whiteRates(12, 48 * 8)), 8)).toBe(null);
  });

  it('where too few averages tell it, it is that of the time before', () => {
    const rows = allanRows([passed(walked(17, 256))], 1);
    expect(rows.map((r) => r.steps)).toEqual([1, 2, 4, 8, 16, 32, 64]);
    expect(rows.map((r) => r.noise)).toEqual(Array(7).fill('walk'));
    // Of some sixty white averages one in thirty looks like a noise of higher frequencies: that takes a hundred to say.
    const named = Array.from({ length: 200 }, (_, i) => allanRows([passed(whiteRates(5_000_001 + 7919 * i, 500))], 1).filter((r) => r.steps >= 8 && r.noise === 'resolution').length);
    expect(named.filter((n) => n > 0).length).toBeLessThan(3);
  });

  it('degrees of freedom fall as averages get longer, and are one at least', () => {
    for (const power of [2, 1, 0, -1, -2] as const) {
      const of = [2, 4, 16, 64].map((m) => degreesOfFreedom(power, 1001, m));
      expect(of.toSorted((a, b) => b - a)).toEqual(of);
    }
    expect(degreesOfFreedom(2, 8, 4)).toBe(1);
    // White rates, averages of one step: two of three (SP 1065).
    expect(degreesOfFreedom(0, 1001, 1) / 1000).toBeCloseTo(0.444 * 1.5, 1);
  });
});

describe('up to where averaging pays', () => {
  const rows = (of: (time: number) => number): readonly AllanRow[] =>
    [1, 2, 4, 8, 16, 32, 64, 128].map((time) => ({ steps: time, time, deviation: of(time), low: 0.9 * of(time), high: 1.1 * of(time), dof: 1000 / time, noise: 'white' as const }));

  it('RED-167 ends where half of the variance does not average away any more', () => {
    // N / sqrt(t) with a floor of flicker of the same variance at 20 s, straight in the logarithms between rows.
    const found = paysUntil(rows((t) => Math.sqrt(1 / t + 1 / 20)));
    expect(found?.time).toBeGreaterThan(18);
    expect(found?.time).toBeLessThan(24);
    expect(found?.low).toBeLessThan(found?.time ?? 0);
    expect(found?.high).toBeGreaterThan(found?.time ?? 0);
  });

  it('is beyond the record where all of it averages away, and its beginning where nothing does', () => {
    expect(paysUntil(rows((t) => 1 / Math.sqrt(t)))).toEqual({ time: null, low: null, high: null });
    expect(paysUntil(rows((t) => 1 / t))).toMatchObject({ time: null });
    expect(paysUntil(rows((t) => Math.sqrt(t)))?.time).toBeCloseTo(Math.SQRT2, 9);
    expect(paysUntil(rows((t) => 1 / Math.sqrt(t)).map((r) => ({ ...r, dof: 9 })))).toBe(null);
  });
});

describe('steady drift', () => {
  it('RED-168 is not called of white rates or of a walk more often than said, and is called where it stands out', () => {
    const records = 500;
    const called = (make: (seed: number) => readonly number[]): number => Array.from({ length: records }, (_, i) => driftOfRecord([passed(make(3_000_001 + 7919 * i))], 1)?.called).filter(Boolean).length / records;
    // Worst, of a walk that white rates hide: two in a hundred.
    const most = 0.02 + 3 * Math.sqrt((0.02 * 0.98) / records);
    expect(called((seed) => whiteRates(seed, 600))).toBeLessThan(most);
    expect(called((seed) => walked(seed, 600))).toBeLessThan(most);
    const hidden = (seed: number): readonly number[] => {
      const white = whiteRates(seed + 50_000_003, 600);
      return walked(seed, 600, 0.03).map((v, i) => v + (white[i] as number));
    };
    expect(called(hidden)).toBeLessThan(most);
    // Thirty times what white rates leave unknown of it: a drift that is less cannot be told from a walk.
    const far = 30 / Math.sqrt((600 * (600 * 600 - 1)) / 12);
    expect(called((seed) => whiteRates(seed, 600).map((v, i) => v + far * i))).toBeGreaterThan(0.9);
  });

  it('is the slope of the rate', () => {
    const found = driftOfRecord([passed(whiteRates(23, 900, 0.1).map((v, i) => v + 0.002 * 2 * i), 2)], 2);
    expect(Math.abs((found?.perSecond ?? 0) - 0.002)).toBeLessThan(4 * (found?.u ?? 0));
    expect(found).toMatchObject({ called: true });
    expect(driftOfRecord([passed(whiteRates(23, 31))], 1)).toBe(null);
  });
});
