import { describe, expect, it } from 'vitest';
import { fAbove } from '../distributions/distributions.ts';
import { slopeModelSentence } from './slope-words.ts';
import type { FTest, SlopeModel } from './reduction.ts';

const test = (f: number, dofNumerator: number): FTest => ({ f, dofNumerator, dofDenominator: 60, p: fAbove(f, dofNumerator, 60) });
const decided = (change: Partial<SlopeModel>): string =>
  slopeModelSentence({ type: 'T', pressure: 400e3 as SlopeModel['pressure'], period: 0.02 as SlopeModel['period'], model: 'weighted', decidedBy: 'spread', spread: 0, commonSpread: 0, test: test(0.5, 4), trend: test(0.5, 1), ...change });

describe('RED-23 in words: what was found is named', () => {
  it.each([
    ['parallel', {}, /^one slope for all voltages of an injector: the slopes differ by no more than their lines explain \(scatter of the slopes F\(4, 60\) = 0\.5/],
    ['by itself', { spread: 0.0012 }, /as far as they agree\. .*: each injector by itself by 0\.12 % \(scatter/],
    ['alike', { commonSpread: 0.002, trend: test(9, 1) }, /they differ \(standard deviation\): all of the type alike by 0\.2 % \(.*F\(1, 60\) = 9/],
    ['both', { spread: 0.001, commonSpread: 0.002 }, /each injector by itself by 0\.1 %, all of the type alike by 0\.2 %/],
    ['the plan', { model: 'shared', decidedBy: 'plan', trend: test(9, 1) }, /^one slope .*because the plan says so/],
    ['one voltage', { decidedBy: 'one-voltage', test: null, trend: null }, /no injector has lines at two voltages/],
  ] as const)('%s', (_, change, words) => expect(decided(change)).toMatch(words));

  it('says so too where only one of the tests could be made', () => {
    expect(decided({ test: null })).toMatch(/no injector has lines at two voltages/);
    expect(decided({ trend: null })).toMatch(/no injector has lines at two voltages/);
  });

  it('gives p as the part of cases in which chance gives as much', () => {
    expect(decided({ trend: test(9, 1) })).toMatch(/chance gives as much in 0\.39\d? % of cases/);
    expect(decided({ trend: test(200, 1) })).toMatch(/in less than 0\.05 % of cases/);
    const at = (p: number): string => decided({ trend: { ...test(9, 1), p } });
    expect(at(0.0005)).toMatch(/chance gives as much in 0\.05 % of cases/);
  });
});
