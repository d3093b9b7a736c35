import { describe, expect, it } from 'vitest';
import { coverageFactor, result } from './budget.ts';
import { carried, randomPart, sharedPart, stateCarried } from './carried.ts';
import type { Carried } from './carried.ts';
import { ErrorDraws, linearModel, monteCarlo, toleranceOf } from './monte-carlo.ts';
import { errorSource } from './source.ts';

const normal = (name: string, u: number) => sharedPart(errorSource('stated-elsewhere', name), u);
const bound = (name: string, u: number) => sharedPart(errorSource('stated-bound', name), u);
const draws = () => new ErrorDraws('a seed');
const trialsOf = (of: Carried) => monteCarlo(linearModel(of), stateCarried(of), draws());

describe('TAB-25: a Monte Carlo beside a number', () => {
  it('is that of the examples of JCGM 101:2008, 9.2: four errors, normal, rectangular, and one rectangle ten times the others (values from memory)', () => {
    const four = trialsOf(carried(0, [normal('a', 1), normal('b', 1), normal('c', 1), normal('d', 1)]));
    [four.mean, four.u, four.low, four.high].forEach((v, i) => expect(Math.abs(v - ([0, 2, -3.92, 3.92][i] ?? 0))).toBeLessThan(0.06));
    const rectangles = trialsOf(carried(0, [bound('a', 1), bound('b', 1), bound('c', 1), bound('d', 1)]));
    expect(rectangles.u).toBeCloseTo(2, 1);
    expect(rectangles.high).toBeGreaterThan(3.85);
    expect(rectangles.high).toBeLessThan(3.91);
    const wide = trialsOf(carried(0, [normal('a', 1), normal('b', 1), normal('c', 1), bound('d', 10)]));
    expect(wide.high).toBeGreaterThan(16.8);
    expect(wide.high).toBeLessThan(17.2);
    // RED-89 states this one with the factor that belongs to it; the normal one, 1.96, would lie 3 off.
    expect(wide.verdict).toBe('agrees');
    expect(monteCarlo(linearModel(carried(0, [normal('a', 1), normal('b', 1), normal('c', 1), bound('d', 10)])), result(0, 0, Number.POSITIVE_INFINITY, Math.sqrt(103)), draws())).toMatchObject({ verdict: 'agrees', tolerance: 5 });
    expect(monteCarlo(linearModel(carried(0, [bound('d', 9)])), result(0, 0, Number.POSITIVE_INFINITY, 9), draws())).toMatchObject({ verdict: 'differs', tolerance: 0.5 });
  });

  it('RED-145 draws an error that is left in to either side with its size, and agrees with what is stated of it', () => {
    const of = carried(10, [sharedPart(errorSource('bench-course'), -3), normal('a', 1)]);
    const trials = trialsOf(of);
    expect(trials.u).toBeCloseTo(Math.sqrt(10), 1);
    expect(Math.abs(trials.high - 10 - (3 + 1.6449))).toBeLessThan(0.06);
    expect(trials.verdict).toBe('agrees');
  });

  it('draws scatter of few degrees of freedom as Student has it, and errors of one estimate with one spread', () => {
    const one = trialsOf(carried(10, [randomPart(errorSource('line-height', 'a'), 1, 5, 'x')]));
    expect(one.high - 10).toBeCloseTo(coverageFactor(5), 1);
    expect(one.u).toBeGreaterThan(1.2);
    const pair = (second: string) => trialsOf(carried(10, [randomPart(errorSource('line-height', 'a'), 0.6, 3, 'x'), randomPart(errorSource('line-slope', 'b'), 0.8, 3, second)]));
    expect(Math.abs(pair('x').high - 10 - coverageFactor(3))).toBeLessThan(0.06);
    // Where they are of two estimates a wild draw of the one does not come with a wild draw of the other.
    expect(pair('y')).not.toEqual(pair('x'));
  });

  it('propagates what is not linear: JCGM 101:2008, 9.4, x1^2 + x2^2 at x1 = 0.010, x2 = 0, u = 0.005 (150e-6 and 112e-6; from memory)', () => {
    const forms = [carried(0.01, [normal('a', 0.005)]), carried(0, [normal('b', 0.005)])];
    const found = monteCarlo({ forms, of: ([a = 0, b = 0]) => a * a + b * b }, result(1e-4, 0, Number.POSITIVE_INFINITY, 1e-4), draws());
    expect(found.mean * 1e6).toBeCloseTo(150, -0.5);
    expect(found.u * 1e6).toBeGreaterThan(111);
    expect(found.u * 1e6).toBeLessThan(114);
    expect(found.verdict).toBe('differs');
  });
});

describe('TAB-26: the validation', () => {
  it('allows half a unit of the first digit of the standard uncertainty, and goes on until the trials know a fifth of it', () => {
    expect([0.00035, 0.0096, 1.2, 40].map(toleranceOf)).toEqual([0.00005, 0.0005, 0.5, 5]);
    const easy = trialsOf(carried(0, [normal('a', 1.2)]));
    expect(easy.trials).toBe(100_000);
    const hard = trialsOf(carried(0, [normal('a', 9.9)]));
    expect(hard.trials).toBeGreaterThan(100_000);
    expect(hard.numerical).toBeLessThanOrEqual(hard.tolerance / 5);
    expect([easy.verdict, hard.verdict]).toEqual(['agrees', 'agrees']);
  });

  it('finds a U that is a third too small', () => {
    const of = carried(5, [normal('a', 2)]);
    const { u, expanded } = stateCarried(of);
    expect(monteCarlo(linearModel(of), { value: 5, u, expanded: expanded / 1.5 }, draws())).toMatchObject({ verdict: 'differs' });
  });

  it('of one seed is always the same, of another seed another, and values that share an error share its draws', () => {
    const of = carried(5, [normal('a', 2), bound('b', 1)]);
    expect(trialsOf(of)).toEqual(trialsOf(of));
    expect(monteCarlo(linearModel(of), stateCarried(of), new ErrorDraws('another')).low).not.toBe(trialsOf(of).low);
    const both = { forms: [of, of], of: ([a = 0, b = 0]: readonly number[]) => a - b };
    expect(monteCarlo(both, result(0, 0, 1, 1), draws())).toMatchObject({ mean: 0, u: 0, low: 0, high: 0 });
  });
});
