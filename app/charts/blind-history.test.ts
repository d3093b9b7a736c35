/** RED-116 to RED-118. */
import { describe, expect, it } from 'vitest';
import { seconds, unixMillis, volts } from '../quantities/quantity.ts';
import type { BlindFinding } from '../reduce/reduction.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { normalFrom } from '../reduce/synthetic.test-helper.ts';
import { blindHistories, blindVerdict, blindTally } from './blind-history.ts';

const u = 1e-6;
const finding = (error: number | null, dof = 1e9): BlindFinding => ({ point: 1, attempt: 1, injector: 0, voltage: volts(14), width: seconds(5e-3), found: 5e-6 + (error ?? 0) * u, u, dof, expanded: coverageFactor(dof) * u, truth: error === null ? null : 5e-6 });

function drawn(n: number, times: number, seed: number, dof = 1e9): BlindFinding[] {
  const normal = normalFrom(seed);
  return Array.from({ length: n }, () => {
    // Student's t with few degrees of freedom: the stated u is an estimate itself.
    const few = Math.min(dof, 40);
    const stated = dof > 40 ? 1 : Math.sqrt(Array.from({ length: few }, () => normal() ** 2).reduce((a, b) => a + b, 0) / few);
    return finding((times * normal()) / stated, dof);
  });
}

describe('blind shifts over the years', () => {
  it('RED-116 counts what was told, by bench and run, the oldest first', () => {
    const run = (id: string, at: number, bench: string, blind: BlindFinding[]) => ({ id, at: unixMillis(at), bench, blind });
    const histories = blindHistories([
      run('c', 30, 'B', [finding(0.5)]),
      run('b', 20, 'A', [finding(3), finding(null)]),
      run('a', 10, 'A', [finding(0.1), finding(-1.9)]),
      run('d', 40, 'A', []),
    ]);
    expect(histories.map((h) => [h.bench, h.runs.map((r) => r.run)])).toEqual([['A', ['a', 'b']], ['B', ['c']]]);
    expect(histories[0]?.whole).toMatchObject({ told: 3, inside: 2, sealed: 1 });
    expect(histories[0]?.whole.spread).toBeCloseTo(Math.sqrt((0.01 + 3.61 + 9) / 3), 4);
    expect(blindVerdict(blindTally([finding(null)]))).toBe('No blind shift was told. 1 more stay sealed.');
  });

  it('RED-117 the interval of the share is exact', () => {
    // Clopper and Pearson at 99.9 %: 0 of 10 is up to 1 - 0.0005^(1/10), all of 10 from 0.0005^(1/10).
    const of = (inside: number, n: number) => blindTally(Array.from({ length: n }, (_, i) => finding(i < inside ? 0 : 5))).fraction;
    expect(of(0, 10)?.low).toBe(0);
    expect(of(0, 10)?.high).toBeCloseTo(1 - 0.0005 ** 0.1, 9);
    expect(of(10, 10)?.low).toBeCloseTo(0.0005 ** 0.1, 9);
    // 7 of 10: 0.1836 to 0.9834 (beta quantiles B(7, 4; 0.0005) and B(8, 3; 0.9995), by bisection of binomial sums).
    expect(of(7, 10)?.low).toBeCloseTo(0.1836, 3);
    expect(of(7, 10)?.high).toBeCloseTo(0.9834, 3);
  });

  it('RED-117 a true random part is seldom called, also where it is an estimate of few degrees of freedom', () => {
    for (const dof of [1e9, 6]) {
      let called = 0;
      for (let seed = 1; seed <= 300; seed += 1) if (blindTally(drawn(50, 1, seed, dof)).called !== null) called += 1;
      // Three in a hundred by all tests together: about 2 to 3 % of histories; 5 % of 300 has a chance under 1 % at 2.5.
      expect(called / 300).toBeLessThan(0.05);
    }
  });

  it('RED-118 one that is stated 1.5 times too small is called within 50 blind shifts, one too large by as much as well', () => {
    const of = (times: number) => Array.from({ length: 200 }, (_, seed) => blindTally(drawn(50, times, 1000 + seed)).called);
    expect(of(1.5).filter((c) => c === 'too-small').length / 200).toBeGreaterThan(0.93);
    expect(of(1 / 1.5).filter((c) => c === 'too-large').length / 200).toBeGreaterThan(0.93);
    expect(blindVerdict(blindTally(drawn(50, 1.5, 1)))).toMatch(/stated too small/);
  });
});
