/** Decisions held against worked examples of JCGM 106:2012 (restated from memory, no print at hand) and against draws. */
import { mersenne } from 'pure-rand/generator/mersenne';
import { uniformFloat64 } from 'pure-rand/distribution/uniformFloat64';
import { describe, expect, it } from 'vitest';
import { result } from '../uncertainty/budget.ts';
import { normalQuantile, tQuantile } from '../distributions/distributions.ts';
import { conformanceProbability, decideConformity, probabilityBelow, ruleSentence } from './conformity.ts';
import type { DecisionRule } from './conformity.ts';

const known = (value: number, u: number) => result(value, 0, Number.POSITIVE_INFINITY, u);
const uniformFrom = (seed: number): (() => number) => {
  const generator = mersenne(seed);
  return () => uniformFloat64(generator);
};

describe('REP-10, REP-13: conformance probability', () => {
  it('of a Zener diode: upper limit -5.40 V, measured -5.47 V with u 0.05 V (JCGM 106:2012, 7.4): 0.92', () => {
    expect(conformanceProbability(known(-5.47, 0.05), { low: null, high: -5.4 })).toBeCloseTo(0.9192, 4);
  });

  it('of an engine oil: 12.5 to 16.3 mm2/s, measured 13.6 with u 1.8 (JCGM 106:2012, 7.5): 0.66', () => {
    expect(conformanceProbability(known(13.6, 1.8), { low: 12.5, high: 16.3 })).toBeCloseTo(0.66, 2);
  });

  it('of a car: at a limit of 100 km/h and u 2 %, from 107 km/h on it was too fast with 99.9 % (JCGM 106:2012, 8.3.2)', () => {
    const tooFast = (speed: number): number => 1 - conformanceProbability(known(speed, 0.02 * speed), { low: null, high: 100 });
    expect(tooFast(107)).toBeGreaterThan(0.999);
    expect(tooFast(106)).toBeLessThan(0.999);
    const rule: DecisionRule = { kind: 'stated-risk', risk: 0.001 };
    expect([106, 107].map((speed) => decideConformity(known(speed, 0.02 * speed), { low: null, high: 100 }, rule).decided)).toEqual(['neither', 'fail']);
  });

  it('is that of many draws of the true value, normal and with few degrees of freedom', () => {
    for (const [dof, seed] of [[Number.POSITIVE_INFINITY, 1], [4, 2]] as const) {
      const uniform = uniformFrom(seed);
      const tolerance = { low: 9.2, high: 11.5 };
      const [value, u] = [10, 0.7];
      const draws = 20_000;
      let inside = 0;
      for (let i = 0; i < draws; i += 1) {
        const p = Math.min(Math.max(uniform(), 1e-12), 1 - 1e-12);
        const y = value + u * (Number.isFinite(dof) ? tQuantile(p, dof) : normalQuantile(p));
        if (y >= tolerance.low && y <= tolerance.high) inside += 1;
      }
      const told = conformanceProbability({ value, u, effectiveDof: dof }, tolerance);
      // Four standard deviations of the share of draws.
      expect(Math.abs(inside / draws - told)).toBeLessThan(4 * Math.sqrt((told * (1 - told)) / draws));
    }
  });

  it('keeps both tails to their own precision, and takes a value without uncertainty as exact', () => {
    expect(probabilityBelow(-8) / 6.220960574271785e-16).toBeCloseTo(1, 6);
    expect(probabilityBelow(0)).toBe(0.5);
    expect(probabilityBelow(2.131449546, 15)).toBeCloseTo(0.975, 9);
    expect([9.9, 10, 10.1].map((value) => conformanceProbability(known(value, 0), { low: 10, high: null }))).toEqual([0, 1, 1]);
  });
});

describe('REP-11: decision rules', () => {
  const limits = { low: 10, high: 20 };
  const u = 0.5;
  const U = known(15, u).expanded;
  const by = (rule: DecisionRule) => (value: number) => decideConformity(known(value, u), limits, rule).decided;

  it('simple acceptance passes inside and at its limits, and fails outside', () => {
    expect([9.999, 10, 15, 20, 20.001].map(by({ kind: 'simple' }))).toEqual(['fail', 'pass', 'pass', 'pass', 'fail']);
  });

  it('a guard band passes and fails beyond it, and decides nothing inside', () => {
    const e = 1e-9;
    expect([10 - U - e, 10 - U + e, 10 + U - e, 10 + U + e, 20 - U - e, 20 - U + e, 20 + U - e, 20 + U + e].map(by({ kind: 'guard-band', times: 1 }))).toEqual(
      ['fail', 'neither', 'neither', 'pass', 'pass', 'neither', 'neither', 'fail'],
    );
  });

  it('limits closer than two guard bands let nothing pass', () => {
    const narrow = { low: 15 - U / 2, high: 15 + U / 2 };
    expect(decideConformity(known(15, u), narrow, { kind: 'guard-band', times: 1 }).decided).toBe('neither');
  });

  it('a stated risk is kept by what passes and by what fails', () => {
    for (let value = 8; value < 22; value += 0.01) {
      const { decided, probability } = decideConformity(known(value, u), limits, { kind: 'stated-risk', risk: 0.05 });
      expect(decided).toBe(probability >= 0.95 ? 'pass' : probability <= 0.05 ? 'fail' : 'neither');
    }
  });

  it('with a guard band of U an item that is just beyond its limit passes in 2.5 % of measurements', () => {
    const uniform = uniformFrom(11);
    const draws = 20_000;
    let passed = 0;
    for (let i = 0; i < draws; i += 1) {
      // True value at the limit: what is measured scatters about it.
      if (by({ kind: 'guard-band', times: 1 })(20 + u * normalQuantile(Math.min(Math.max(uniform(), 1e-12), 1 - 1e-12))) === 'pass') passed += 1;
    }
    expect(Math.abs(passed / draws - 0.025)).toBeLessThan(4 * Math.sqrt((0.025 * 0.975) / draws));
  });

  it('REP-12 each says what risk it leaves', () => {
    expect(ruleSentence({ kind: 'simple' })).toContain('risk of 50 %');
    expect(ruleSentence({ kind: 'guard-band', times: 1 })).toContain('2.5 %');
    expect(ruleSentence({ kind: 'stated-risk', risk: 0.05 })).toContain('at most 5 %');
  });
});
