/** What the reduction decided about slopes, in words. */
import type { Reduction } from '../../../app/reduce/reduction.ts';
import { brief } from './figures.ts';

type SlopeModel = Reduction['slopeModels'][number];

export function slopeModelSentence({ type, model, decidedBy, test }: SlopeModel): string {
  const what = model === 'shared' ? 'one slope for all voltages of an injector' : 'a slope for each voltage';
  switch (decidedBy) {
    case 'plan':
      return `${type}: ${what}; the plan says so.`;
    case 'one-voltage':
      return `${type}: measured at one voltage only.`;
    case 'f-test':
      return `${type}: ${what}, because ${model === 'shared' ? 'the slopes of the voltages differ no more than their scatter explains' : 'the slopes of the voltages differ by more than their scatter explains'}${
        test === null ? '' : ` (F = ${brief(test.f, 3)} with ${test.dofNumerator} and ${test.dofDenominator} degrees of freedom; chance gives as much in ${brief(100 * test.p)} % of cases)`
      }.`;
  }
}
