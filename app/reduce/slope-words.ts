/** What was decided about the slopes of an injector's lines over voltage, and by which test (RED-23). One sentence for window and terminal. */
import { poolingLevel } from './shared-slope.ts';
import type { FTest, SlopeModel } from './reduction.ts';

const three = (x: number): string => String(Number(x.toPrecision(3)));
const percent = (p: number): string => (p < 0.0005 ? 'less than 0.05 %' : `${three(100 * p)} %`);
const figures = ({ f, dofNumerator, dofDenominator, p }: FTest): string => `F(${dofNumerator}, ${dofDenominator}) = ${three(f)}, chance gives as much in ${percent(p)} of cases`;

/** Both tests with their figures, the one that decided first. */
export function slopeModelSentence({ model, decidedBy, test, trend }: SlopeModel): string {
  const what = model === 'shared' ? 'one slope for all voltages of an injector' : 'each voltage its own slope';
  if (test === null || trend === null) return `${what}, because no injector has lines at two voltages.`;
  const scatterText = `scatter of the slopes ${figures(test)}`;
  const trendText = `common trend over 1/V ${figures(trend)}`;
  const limit = `the limit is ${three(100 * poolingLevel)} %`;
  if (decidedBy === 'plan') return `${what}, because the plan says so (${scatterText}; ${trendText}).`;
  const [byScatter, byTrend] = [test.p <= poolingLevel, trend.p <= poolingLevel];
  if (byScatter && byTrend) return `${what}, because the slopes scatter, and follow a common trend over 1/V, by more than chance explains (${scatterText}; ${trendText}; ${limit}).`;
  if (byTrend) return `${what}, because the slopes follow a common trend over 1/V by more than chance explains (${trendText}; ${limit}). Their scatter alone would not say so (${scatterText}).`;
  if (byScatter) return `${what}, because the slopes scatter by more than chance explains (${scatterText}; ${limit}). There is no common trend in them (${trendText}).`;
  return `${what}, because neither their scatter nor a common trend over 1/V is more than chance explains (${scatterText}; ${trendText}; ${limit}).`;
}
