import { describe, expect, it } from 'vitest';
import { coverageBesideLeftIn, coverageBesideRectangular, coverageFactor, result } from './budget.ts';
import { carried, combine, randomPart, sharedPart, stateCarried } from './carried.ts';
import { errorSource } from './source.ts';

/** Share of errors inside k times their combined standard uncertainty: by integrating the normal density over the rectangle, in small steps. */
function inside(share: number, k: number): number {
  const sd = Math.sqrt(1 - share * share);
  const half = share * Math.sqrt(3);
  const steps = 4000;
  const density = (x: number): number => Math.exp(-((x / sd) ** 2) / 2) / sd / Math.sqrt(2 * Math.PI);
  let sum = 0;
  for (let i = 0; i < steps; i += 1) {
    const x = -k + ((i + 0.5) * 2 * k) / steps;
    let here = 0;
    for (let j = 0; j < 200; j += 1) here += density(x + half * (-1 + (j + 0.5) / 100)) / 200;
    sum += (here * 2 * k) / steps;
  }
  return sum;
}

describe('RED-89: a bound that makes most of an uncertainty', () => {
  it('alone has 95 % of its errors inside 1.65 standard uncertainties (0.95 times the root of 3), and beside others the quantile of the sum', () => {
    expect(coverageBesideRectangular(1)).toBeCloseTo(0.95 * Math.sqrt(3), 6);
    expect(coverageBesideRectangular(0)).toBeCloseTo(1.959964, 5);
    for (const share of [0.25, 0.5, 0.7, 0.85, 0.95]) expect(inside(share, coverageBesideRectangular(share))).toBeCloseTo(0.95, 4);
    // No jump where it begins to count.
    expect(coverageBesideRectangular(0.19999) - coverageBesideRectangular(0.20001)).toBeLessThan(5e-4);
  });

  it('is stated of results with the coverage factor that belongs to it, and of all others nothing changes', () => {
    const plain = result(10, 1, 9, 3);
    expect(result(10, 1, 9, 3, 0)).toEqual(plain);
    const bounded = result(10, 0.1, 9, 3, 2.9);
    expect(bounded.coverageFactor).toBeLessThan(1.75);
    expect(bounded.expanded).toBeCloseTo(bounded.coverageFactor * bounded.u, 12);
    expect(result(10, 0, 9, 3, 1).expanded / result(10, 0, 9, 3).expanded).toBeCloseTo(coverageBesideRectangular(1 / 3) / coverageFactor(Number.POSITIVE_INFINITY), 12);
  });

  it('counts where the record states a bound, and not where a bound was found in data', () => {
    const of = (quantity: 'pressure-while-open' | 'supply-inside-pulse' | 'line-definition' | 'rail-pressure'): number =>
      stateCarried(carried(1, [sharedPart(errorSource(quantity), 1), randomPart(errorSource('line-height'), 0.2, 50, 'a')])).coverageFactor;
    expect(of('pressure-while-open')).toBeLessThan(1.75);
    expect(of('supply-inside-pulse')).toBeLessThan(1.75);
    expect(of('line-definition')).toBeGreaterThan(1.95);
    expect(of('rail-pressure')).toBeGreaterThan(1.95);
  });
});

describe('RED-145: an error of known size that is left in', () => {
  /** Share of normal errors about it that stay inside k combined standard uncertainties, in small steps. */
  const held = (share: number, k: number): number => {
    const sd = Math.sqrt(1 - share * share);
    const steps = 20_000;
    let sum = 0;
    for (let i = 0; i < steps; i += 1) {
      const x = -k + ((i + 0.5) * 2 * k) / steps;
      sum += Math.exp(-(((x - share) / sd) ** 2) / 2) / sd / Math.sqrt(2 * Math.PI) * ((2 * k) / steps);
    }
    return sum;
  };

  it('is held with all others in 95 of 100, whether it is little or nearly all: neither always nor never', () => {
    for (const share of [0.12, 0.3, 0.5, 0.7, 0.9, 0.99]) expect(held(share, coverageBesideLeftIn(share))).toBeCloseTo(0.95, 4);
    expect(coverageBesideLeftIn(0)).toBeCloseTo(1.959964, 5);
    expect(coverageBesideLeftIn(1)).toBe(1);
    expect(Math.abs(coverageBesideLeftIn(0.0999) - coverageBesideLeftIn(0.1001))).toBeLessThan(2e-3);
    // Far beyond the others: its size and 1.64 of them.
    expect(coverageBesideLeftIn(0.95)).toBeCloseTo(0.95 + 1.6449 * Math.sqrt(1 - 0.95 ** 2), 3);
  });

  it('is stated so of slopes, of ratios and of what is computed from them, with its sign', () => {
    const course = (effect: number) => carried(1, [sharedPart(errorSource('bench-course'), effect), sharedPart(errorSource('k-factor'), 1)]);
    const one = stateCarried(course(3));
    expect(one.u).toBeCloseTo(Math.sqrt(10), 12);
    expect(one.expanded).toBeCloseTo(3 + 1.6449, 3);
    expect(one.expanded).toBeCloseTo(result(1, 0, Number.POSITIVE_INFINITY, Math.sqrt(10), 0, 3).expanded, 12);
    const apart = stateCarried(combine(0, [{ of: course(3), sensitivity: 1 }, { of: course(2.9), sensitivity: -1 }]));
    expect(apart.u).toBeCloseTo(0.1, 9);
  });
});
