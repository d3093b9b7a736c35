/** What was decided about the slopes of an injector's lines over voltage, and by which test (RED-23). One sentence for window and terminal. */
import type { FTest, SlopeModel } from './reduction.ts';

const three = (x: number): string => String(Number(x.toPrecision(3)));
const percent = (p: number): string => (p < 0.0005 ? 'less than 0.05 %' : `${three(100 * p)} %`);
const figures = ({ f, dofNumerator, dofDenominator, p }: FTest): string => `F(${three(dofNumerator)}, ${three(dofDenominator)}) = ${three(f)}, chance gives as much in ${percent(p)} of cases`;

/** What the data say, or the plan, and both tests with their figures. */
export function slopeModelSentence({ model, decidedBy, test, trend, spread = 0, commonSpread = 0 }: SlopeModel): string {
  if (test === null || trend === null) return 'each voltage its own slope, because no injector has lines at two voltages.';
  const tests = `scatter of the slopes ${figures(test)}; common trend over 1/V ${figures(trend)}`;
  if (decidedBy === 'plan') return `${model === 'shared' ? 'one slope for all voltages of an injector' : 'each voltage its own slope'}, because the plan says so (${tests}).`;
  if (spread === 0 && commonSpread === 0) return `one slope for all voltages of an injector: the slopes differ by no more than their lines explain (${tests}).`;
  const by = [
    ...(spread > 0 ? [`each injector by itself by ${three(100 * spread)} %`] : []),
    ...(commonSpread > 0 ? [`all of the type alike by ${three(100 * commonSpread)} %`] : []),
  ].join(', ');
  return `each slope leans on that of all voltages of its injector as far as they agree. Beyond what their lines explain they differ (standard deviation): ${by} (${tests}).`;
}
