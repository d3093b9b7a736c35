/** What readings tell of a level that may wander: held against the same model written as one normal distribution of all levels. RED-42. */
import { Matrix, inverse, determinant } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { followedDrift, followedLevels, levelsOf } from './local-level.ts';
import type { Contrast, Stage } from './local-level.ts';

interface Told {
  readonly mean: number;
  readonly variance: number;
}

/**
 * Every way to wander as a dense normal prior: the level at stage i is that at the first plus all steps since, so their covariance is
 * the prior of the first plus the steps up to the earlier of the two. Conditioned on the readings all at once (no filter, no smoother),
 * weighed by the likelihood and the chance of each: half for none, a quarter for a walk of one of 14 sizes that halve
 * from twice the farthest reading, a quarter for one jump before any of the stages that were read. `rising`: a steady rate as well, which would
 * take the level over the whole by about twice the farthest reading.
 */
function dense(stages: readonly Stage[], contrasts: readonly Contrast[], chances = { steady: 0.5, rising: 0, wandering: 0.25, jumping: 0.25 }): readonly Told[] {
  const read = stages.flatMap((s, i) => (s.reading === null ? [] : [{ i, ...s.reading }]));
  const centre = read.reduce((sum, r) => sum + r.value / r.variance, 0) / read.reduce((sum, r) => sum + 1 / r.variance, 0);
  const farthest = Math.max(...read.map((r) => Math.sqrt((r.value - centre) ** 2 + r.variance)));
  const stepsOf = (walk: number, jumpAt: number): readonly number[] =>
    stages.map((s, i) => (i === 0 ? 1e6 * farthest ** 2 : s.jump + walk * (s.at - (stages[i - 1]?.at ?? 0)) + (i === jumpAt ? 4 * farthest ** 2 : 0)));
  const middle = read.reduce((sum, r) => sum + (stages[r.i]?.at ?? 0) / r.variance, 0) / read.reduce((sum, r) => sum + 1 / r.variance, 0);
  const jumps = read.map((r) => r.i).filter((i) => i > 0);
  const ways = [
    { chance: chances.steady, steps: stepsOf(0, -1), rate: 0 },
    { chance: chances.rising, steps: stepsOf(0, -1), rate: (2 * farthest) / ((stages.at(-1)?.at ?? 0) - (stages[0]?.at ?? 0)) },
    ...Array.from({ length: 14 }, (_, k) => ({ chance: chances.wandering / 14, steps: stepsOf((2 * farthest * 2 ** -k) ** 2, -1), rate: 0 })),
    ...jumps.map((at) => ({ chance: chances.jumping / jumps.length, steps: stepsOf(0, at), rate: 0 })),
  ].map(({ chance, steps, rate }) => {
    // The levels are sums of independent standard normal numbers, each times the root of its step.
    const root = (i: number): readonly number[] => [...steps.map((step, j) => (j <= i ? Math.sqrt(step) : 0)), rate * ((stages[i]?.at ?? 0) - middle)];
    const levels = new Matrix(stages.map((_, i) => [...root(i)]));
    const design = new Matrix(read.map((r) => root(r.i).map((v) => v / Math.sqrt(r.variance))));
    const scaled = Matrix.columnVector(read.map((r) => (r.value - centre) / Math.sqrt(r.variance)));
    const precision = Matrix.add(design.transpose().mmul(design), Matrix.eye(stages.length + 1));
    const numbers = inverse(precision).mmul(design.transpose()).mmul(scaled);
    const off = Matrix.sub(scaled, design.mmul(numbers));
    const covariance = levels.mmul(inverse(precision)).mmul(levels.transpose());
    const logLikelihood = -0.5 * (Math.log(determinant(precision)) + off.dot(off) + numbers.dot(numbers));
    return { chance, mean: levels.mmul(numbers).to1DArray(), covariance, logLikelihood };
  });
  const best = Math.max(...ways.map((w) => w.logLikelihood));
  const weights = ways.map((w) => w.chance * Math.exp(w.logLikelihood - best));
  const total = weights.reduce((a, b) => a + b, 0);
  return contrasts.map((contrast) => {
    const each = ways.map(({ mean, covariance }) => ({
      mean: contrast.reduce((sum, c) => sum + c.weight * ((mean[c.stage] ?? 0) + centre), 0),
      variance: contrast.reduce((sum, a) => sum + contrast.reduce((inner, b) => inner + a.weight * b.weight * covariance.get(a.stage, b.stage), 0), 0),
    }));
    const mean = each.reduce((sum, e, i) => sum + ((weights[i] ?? 0) / total) * e.mean, 0);
    // Law of total variance.
    return { mean, variance: each.reduce((sum, e, i) => sum + ((weights[i] ?? 0) / total) * (e.variance + (e.mean - mean) ** 2), 0) };
  });
}

const stage = (at: number, value: number | null, variance = 0.01, jump = 0): Stage => ({ at, jump, reading: value === null ? null : { value, variance } });
const contrasts: readonly Contrast[] = [
  [{ stage: 0, weight: 1 }],
  [{ stage: 2, weight: 1 }],
  [{ stage: 3, weight: 0.5 }, { stage: 1, weight: 0.5 }],
  [{ stage: 4, weight: 1.5 }, { stage: 0, weight: -1.5 }],
];

describe('RED-42 a level that was looked at now and then', () => {
  const cases: readonly (readonly [string, readonly Stage[]])[] = [
    ['steady, looked at with different care', [stage(0, 1.1, 0.01), stage(1, 0.9, 0.02), stage(2.5, 1.05, 0.005), stage(3, 0.98, 0.03), stage(4, 1.02, 0.01)]],
    ['wandering', [stage(0, 0, 0.02), stage(1, 0.5, 0.02), stage(2, 0.7, 0.02), stage(3.2, 1.4, 0.02), stage(4, 1.7, 0.02)]],
    ['jumping once', [stage(0, 0.05), stage(1, -0.02), stage(2, 0.9), stage(3, 1.05), stage(4, 1)]],
    ['not looked at everywhere', [stage(0, 0.3, 0.02), stage(1, null), stage(1.7, 0.4, 0.05), stage(3, null), stage(4, 0.8, 0.02)]],
    ['not looked at at the beginning', [stage(0, null), stage(1, 0.2, 0.02), stage(2, null), stage(3, 0.5, 0.02), stage(4, 0.45, 0.02)]],
    ['with a step between two pressures', [stage(0, 1, 0.01), stage(1, 1.1, 0.01), stage(2, 1.5, 0.01, 0.2), stage(3, 1.4, 0.01), stage(4, 1.45, 0.01, 0.02)]],
  ];

  it.each(cases)('is told as the dense normal distribution of all levels tells it: %s', (_, stages) => {
    const found = levelsOf(stages, contrasts);
    dense(stages, contrasts).forEach((expected, i) => {
      expect((found[i]?.mean ?? 0) - expected.mean).toBeCloseTo(0, 5);
      expect((found[i]?.variance ?? 0) / expected.variance).toBeCloseTo(1, 4);
    });
  });

  it.each(cases)('is told the same wherever its zero lies and in whatever unit: %s', (_, stages) => {
    const unit = 1e-9;
    const moved = stages.map(({ at, jump, reading }): Stage => ({ at, jump: jump * unit ** 2, reading: reading && { value: (reading.value + 1e4) * unit, variance: reading.variance * unit ** 2 } }));
    const here = levelsOf(stages, contrasts);
    levelsOf(moved, contrasts).forEach((told, i) => {
      const weight = (contrasts[i] ?? []).reduce((sum, c) => sum + c.weight, 0);
      expect(told.mean / unit - weight * 1e4 - (here[i]?.mean ?? Number.NaN)).toBeCloseTo(0, 7);
      expect(told.variance / unit ** 2 / (here[i]?.variance ?? Number.NaN)).toBeCloseTo(1, 6);
    });
  });

  it('of one reading alone knows that reading, everywhere', () => {
    const [here, far] = levelsOf([stage(0, 3, 0.04), stage(1, null)], [[{ stage: 0, weight: 1 }], [{ stage: 1, weight: 1 }]]);
    expect(here?.mean).toBeCloseTo(3, 9);
    expect(here?.variance).toBeCloseTo(0.04, 6);
    expect(far?.mean).toBeCloseTo(3, 9);
    expect(far?.variance).toBeGreaterThan(0.04);
  });

  it('is certain of nothing that it did not see: throws without a reading', () => {
    expect(() => levelsOf([stage(0, null)], [])).toThrow('no stage has a reading');
  });
});

describe('RED-144 a bench that may also drift at a steady rate', () => {
  const cases: readonly (readonly [string, readonly Stage[]])[] = [
    ['steady', [stage(0, 1.1, 0.01), stage(1, 0.9, 0.02), stage(2.5, 1.05, 0.005), stage(3, 0.98, 0.03), stage(4, 1.02, 0.01)]],
    ['drifting', [stage(0, 0, 0.02), stage(1, 0.5, 0.02), stage(2, 0.9, 0.01), stage(3.2, 1.65, 0.02), stage(4, 2, 0.02)]],
    ['wandering', [stage(0, 0, 0.002), stage(1, 0.5, 0.002), stage(2, 0.1, 0.002), stage(3.2, 0.9, 0.002), stage(4, 0.2, 0.002)]],
    ['jumping once', [stage(0, 0.05), stage(1, -0.02), stage(2, 0.9), stage(3, 1.05), stage(4, 1)]],
  ];
  const sums = [[0.2, 0.3, 0.1, 0.4, 0], [-0.2, 0.8, -0.2, -0.2, -0.2], [0, 0, 0, 1, -1]];
  const chances = { steady: 0.1, rising: 0.2, wandering: 0.65, jumping: 0.05 };

  it.each(cases)('is told as the dense normal distribution of all its levels tells it: %s', (_, stages) => {
    const found = followedDrift(stages);
    dense(stages, sums.map((weights) => weights.map((weight, i) => ({ stage: i, weight }))), chances).forEach((expected, i) => {
      const told = found.sum(Float64Array.from(sums[i] ?? []));
      expect(told.mean - expected.mean).toBeCloseTo(0, 5);
      expect(told.variance / expected.variance).toBeCloseTo(1, 4);
    });
  });

  it('goes by little from one reading to the next beside a steady rate, and by its steps where it jumps', () => {
    const steps = (at: number): readonly number[] => followedDrift(cases[at]?.[1] ?? []).steps.map(Math.sqrt);
    expect(Math.max(...steps(0))).toBeLessThan(0.15);
    expect(steps(3)[1]).toBeGreaterThan(0.7);
    expect(steps(3)[3]).toBeLessThan(0.25);
    // Far more readings on a line leave nothing beside it.
    const line = Array.from({ length: 12 }, (_, i) => stage(i, i, 0.01));
    expect(Math.max(...followedDrift(line).steps)).toBeLessThan(0.3);
    expect(followedDrift(line).steadily).toBeGreaterThan(0.95);
    expect(followedDrift(cases[2]?.[1] ?? []).steadily).toBeLessThan(0.2);
  });
});

describe('RED-99 sums that are asked for one after the other', () => {
  it('are told as each is alone: of two stages that share one with the two before, of the same two again, and the other way round', () => {
    const stages = [2, 5, null, 4, null, 7, 3].map((value, i): Stage => ({ at: i, jump: i === 4 ? 0.5 : 0, reading: value === null ? null : { value, variance: 1 + 0.3 * i } }));
    const pairs = [[1, 4], [1, 6], [3, 6], [1, 4], [4, 1], [2, 4], [2, 5], [2, 2]] as const;
    const contrasts = pairs.map(([a, b]): Contrast => [{ stage: a, weight: 0.7 }, { stage: b, weight: -1.2 }]);
    const alone = contrasts.map((contrast) => levelsOf(stages, [contrast])[0]);
    const follow = followedLevels(stages);
    expect(contrasts.map((contrast) => follow([contrast])[0])).toEqual(alone);
    expect(follow(contrasts)).toEqual(alone);
    // They differ, so that one told for another would be seen.
    expect(new Set(alone.map((told) => told?.variance)).size).toBe(pairs.length - 1);
  });
});
