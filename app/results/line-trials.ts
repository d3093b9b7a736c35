/** Monte Carlo of the results of lines and of static flows, beside what is stated of them. TAB-25. */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import type { Result } from '../uncertainty/budget.ts';
import { carried, randomPart, sharedPart } from '../uncertainty/carried.ts';
import { figure, plain } from '../quantities/figures.ts';
import { shownQuantities } from './agreement.ts';
import { ErrorDraws, linearModel, monteCarlo } from '../uncertainty/monte-carlo.ts';
import type { MonteCarlo, TrialModel } from '../uncertainty/monte-carlo.ts';

/**
 * The dead time as it comes about: where the line crosses zero, centre less height over slope. Nothing of it is made linear. What an error of the
 * conditions does to the injector itself is an error of the height: a pulse that opens later by d gives less by slope times d.
 */
export function crossingModel(cell: LineCell): TrialModel {
  const { slope, deadTime, scatter, shared } = cell;
  const height = carried(slope.value * scatter.distance, [
    randomPart(scatter.meanSource, scatter.uMean, scatter.dof, scatter.scale),
    ...shared.map((part) => sharedPart(part.source, scatter.distance * part.onSlope - slope.value * part.onDeadTime)),
  ]);
  const centre = deadTime.value + scatter.distance;
  return { forms: [slopeCarried(cell), height], of: ([k = Number.NaN, h = Number.NaN]) => centre - h / k };
}

export interface TrialRow {
  readonly quantity: 'dead-time' | 'slope' | 'static-flow';
  readonly serialNumber: string;
  readonly voltage: number;
  readonly pressure: number;
  /** s; 0: held open. */
  readonly period: number;
  /** SI: s or kg/s. */
  readonly stated: Result;
  readonly trials: MonteCarlo;
}

/** Each dead time, slope and static flow of a run. The same seed gives the same numbers. */
export function* runTrials({ cells, staticFlows }: Pick<Reduction, 'cells' | 'staticFlows'>, seed: string): Generator<TrialRow> {
  const draws = new ErrorDraws(seed);
  for (const cell of cells) {
    if (cell.kind === 'no-line') continue;
    const { serialNumber, voltage, pressure, period } = cell;
    yield { quantity: 'dead-time', serialNumber, voltage, pressure, period, stated: cell.deadTime, trials: monteCarlo(crossingModel(cell), cell.deadTime, draws) };
    yield { quantity: 'slope', serialNumber, voltage, pressure, period, stated: cell.slope, trials: monteCarlo(linearModel(slopeCarried(cell)), cell.slope, draws) };
  }
  for (const flow of staticFlows) {
    if (flow.kind !== 'static-flow') continue;
    yield { quantity: 'static-flow', serialNumber: flow.serialNumber, voltage: flow.voltage, pressure: flow.pressure, period: 0, stated: flow.flow, trials: monteCarlo(linearModel(staticCarried(flow)), flow.flow, draws) };
  }
}

/** The model behind a number that is carried: of a dead time that was measured the crossing, else its linear form. */
export function modelOf(of: TrialModel['forms'][number], cells: Reduction['cells']): TrialModel {
  const line = cells.find((c): c is LineCell => c.kind === 'line' && c.deadTime.value === of.value && deadTimeCarried(c).parts.size === of.parts.size);
  return line === undefined ? linearModel(of) : crossingModel(line);
}

/** Dead times in the unit of reports. */
const shownIn = { ...shownQuantities, 'dead-time': { ...shownQuantities['dead-time'], unit: 'ms', factor: 1e3 } } as const;

/** Place, both intervals and what they come to, in words. */
export function trialWords({ quantity, serialNumber, voltage, pressure, period, stated, trials }: TrialRow): { readonly place: string; readonly stated: string; readonly trials: string; readonly verdict: string } {
  const { name, unit, factor } = shownIn[quantity];
  const interval = (low: number, high: number): string => `${figure(low * factor, stated.u * factor)} to ${figure(high * factor, stated.u * factor)} ${unit}`;
  const verdicts = { agrees: 'agree', differs: 'DIFFER', unsettled: 'not settled' } as const;
  return {
    place: `${serialNumber}, ${plain(voltage)} V, ${plain(pressure / 1e3)} kPa${period === 0 ? ', held open' : `, period ${plain(period * 1e3)} ms`}: ${name}`,
    stated: interval(stated.value - stated.expanded, stated.value + stated.expanded),
    trials: interval(trials.low, trials.high),
    verdict: verdicts[trials.verdict],
  };
}

/** For a report: how many agree, and both intervals of each that does not. TAB-27 */
export function trialSentences(rows: readonly TrialRow[]): readonly string[] {
  const apart = rows.filter(({ trials }) => trials.verdict !== 'agrees');
  return [
    `Beside each dead time, slope and static flow a Monte Carlo was made (JCGM 101:2008, ${plain(Math.min(...rows.map((r) => r.trials.trials)))} trials or more, adaptive by 7.9.4). ${rows.length - apart.length} of ${rows.length} intervals of 95 % agree with what is stated, within half a unit of the first digit of the standard uncertainty (clause 8).`,
    ...apart.map((row) => {
      const { place, stated, trials } = trialWords(row);
      return `${place}: stated ${stated}; by Monte Carlo ${trials}${row.trials.verdict === 'unsettled' ? `, which ${plain(row.trials.trials)} trials do not settle` : ''}.`;
    }),
  ];
}
