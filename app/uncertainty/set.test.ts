/**
 * Means, deviations and spreads of values with errors in common. Worked by hand after JCGM 100:2008: 5.2.2 (correlated inputs), F.1.2.3
 * (an instrument that two quantities share), G.4.1 (effective degrees of freedom).
 */
import { describe, expect, it } from 'vitest';
import { coverageFactor } from './budget.ts';
import { carried, randomPart, sharedPart, stateCarried } from './carried.ts';
import { errorSource } from './source.ts';
import { estimateOf } from '../results/estimate.ts';
import { deviationsFromMean, meanOf, percentOf, rangeOf } from './set.ts';

const infinite = Number.POSITIVE_INFINITY;
const own = (place: string) => errorSource('width-mass', place);
/** A value with a scatter of its own and the error of a meter that all share. */
const member = (value: number, place: string, u: number, meter: number, dof = infinite) => carried(value, [randomPart(own(place), u, dof, place), sharedPart(errorSource('k-factor'), meter)]);

describe('the mean of a set', () => {
  it('RED-22, JCGM 100 example 5.2.2 (ten resistors by one standard): an error in common stays whole, scatter goes with the root of n', () => {
    // The note of 5.2.2: ten 1000 ohm resistors, each compared with one standard of u = 100 mohm; the sum has u = 1 ohm, not 0.32 ohm.
    const standard = errorSource('supply-read-back');
    const ten = Array.from({ length: 10 }, (_, i) => carried(1000, [randomPart(own(String(i)), 0, infinite, String(i)), sharedPart(standard, 0.1)]));
    expect(10 * stateCarried(meanOf(ten)).u).toBeCloseTo(1, 12);
    // With a comparison that scatters by 0.3 ohm beside it: 0.3 / sqrt(10) of it in the mean.
    const scattered = Array.from({ length: 10 }, (_, i) => carried(1000, [randomPart(own(String(i)), 0.3, 4, String(i)), sharedPart(standard, 0.1)]));
    const stated = stateCarried(meanOf(scattered));
    expect(stated.value).toBe(1000);
    expect(stated.uRandom).toBeCloseTo(0.3 / Math.sqrt(10), 12);
    expect(stated.uShared).toBeCloseTo(0.1, 12);
    // Ten equal parts of four degrees of freedom: forty (G.4.1).
    expect(stated.dofRandom).toBeCloseTo(40, 9);
  });

  it('of nothing is an error of the caller', () => {
    expect(() => meanOf([])).toThrow(RangeError);
    expect(() => rangeOf([])).toThrow(RangeError);
    expect(deviationsFromMean([])).toEqual([]);
  });
});

describe('deviations from the mean', () => {
  it('RED-67: of two equal members each is half of their difference (hand calculation)', () => {
    const [a, b] = deviationsFromMean([member(1, 'a', 0.2, 5), member(2, 'b', 0.2, 5)]).map(estimateOf);
    expect([a?.value, b?.value]).toEqual([-0.5, 0.5]);
    // sqrt(0.1^2 + 0.1^2); what they share is gone.
    expect(a?.u95).toBeCloseTo(coverageFactor(infinite) * Math.hypot(0.1, 0.1), 9);
  });

  it('RED-67: a member enters its own deviation with 1 - 1/n and the others with 1/n', () => {
    const [first] = deviationsFromMean(['a', 'b', 'c', 'd'].map((place, i) => member(i, place, i === 0 ? 3 : 1, 7)));
    expect(stateCarried(first ?? carried(0)).uRandom).toBeCloseTo(Math.hypot(3 * 0.75, 0.25, 0.25, 0.25), 12);
    expect(stateCarried(first ?? carried(0)).uShared).toBe(0);
  });

  it('RED-67: of an instrument stays what moves the members differently', () => {
    const [low] = deviationsFromMean([member(1, 'a', 0, 1), member(1, 'b', 0, 3)]);
    expect(stateCarried(low ?? carried(0)).uShared).toBeCloseTo(1, 12);
  });

  it('RED-68: say nothing of their uncertainty where the scatter of one member is not known, nor of one member alone', () => {
    const unknown = member(1, 'a', 0, 1);
    expect(deviationsFromMean([unknown, member(2, 'b', 1, 1, 5)]).map((d) => estimateOf(d).u95)).toEqual([null, null]);
    expect(deviationsFromMean([member(2, 'b', 1, 1, 0)]).map((d) => estimateOf(d))).toEqual([{ value: 0, u95: null }]);
  });
});

describe('spread and percent', () => {
  it('RED-67: the spread is largest less smallest, and what lies between has no part in it', () => {
    const spread = stateCarried(rangeOf([member(3, 'a', 0.3, 1), member(1, 'b', 0.4, 1), member(2, 'c', 9, 1)]));
    expect(spread.value).toBe(2);
    expect(spread.uRandom).toBeCloseTo(0.5, 12);
    expect(spread.uShared).toBe(0);
  });

  it('RED-67: a factor that is wrong in all alike is no part of a percentage', () => {
    // K-factor 1 % off: every value 1 % off, every percentage right.
    const set = [98, 100, 102].map((value, i) => carried(value, [sharedPart(errorSource('k-factor'), value / 100), randomPart(own(String(i)), 0, infinite, String(i))]));
    const mean = meanOf(set);
    const percents = deviationsFromMean(set).map((d) => stateCarried(percentOf(d, mean)));
    percents.forEach((p, i) => {
      expect(p.value).toBeCloseTo(2 * (i - 1), 12);
      expect(p.uShared).toBeLessThan(1e-12);
    });
  });
});
