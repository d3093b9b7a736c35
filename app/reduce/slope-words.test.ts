import { describe, expect, it } from 'vitest';
import { fAbove } from '../distributions/distributions.ts';
import { slopeModelSentence } from './slope-words.ts';
import type { FTest, SlopeModel } from './reduction.ts';

const test = (f: number, dofNumerator: number): FTest => ({ f, dofNumerator, dofDenominator: 60, p: fAbove(f, dofNumerator, 60) });
const decided = (change: Partial<SlopeModel>): string =>
  slopeModelSentence({ type: 'T', pressure: 400e3 as SlopeModel['pressure'], period: 0.02 as SlopeModel['period'], model: 'own', decidedBy: 'f-test', test: test(0.5, 4), trend: test(0.5, 1), ...change });

describe('RED-23 in words: the test that decided is named', () => {
  it.each([
    ['trend', { trend: test(9, 1) }, /because the slopes follow a common trend over 1\/V .*F\(1, 60\) = 9.*Their scatter alone would not say so \(scatter of the slopes F\(4, 60\) = 0\.5/],
    ['scatter', { test: test(6, 4) }, /because the slopes scatter by more .*F\(4, 60\) = 6.*There is no common trend in them/],
    ['both', { test: test(6, 4), trend: test(9, 1) }, /because the slopes scatter, and follow a common trend/],
    ['neither', { model: 'shared' }, /one slope for all voltages of an injector, because neither their scatter nor a common trend/],
    ['the plan', { model: 'shared', decidedBy: 'plan', trend: test(9, 1) }, /because the plan says so/],
    ['one voltage', { decidedBy: 'one-voltage', test: null, trend: null }, /no injector has lines at two voltages/],
  ] as const)('%s', (_, change, words) => expect(decided(change)).toMatch(words));

  it('gives p as the part of cases in which chance gives as much', () => {
    expect(decided({ trend: test(9, 1) })).toMatch(/chance gives as much in 0\.39\d? % of cases/);
    expect(decided({ trend: test(200, 1) })).toMatch(/in less than 0\.05 % of cases/);
  });
});
