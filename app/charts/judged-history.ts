/** A reference history with what its chart says of it, for the terminal and the window alike. */
import { chanceOfSignal } from './chance.ts';
import { fewestInBaseline, individualsChart, type IndividualsChart, type NoChart } from './individuals-chart.ts';
import { newestOf, type NewestRun } from './newest.ts';
import type { ReferenceHistory } from './reference-history.ts';
import type { RuleSet } from './rules.ts';

/** From so many runs on the chart itself judges the newest. */
const enoughRuns = 20;

export interface JudgedHistory {
  readonly chart: IndividualsChart | NoChart;
  /** The newest against those before it; null: too few before it, or so many that the chart judges it (CH-9). */
  readonly newest: NewestRun | null;
  /** The chart is judged by itself alone: `newest` is not asked. */
  readonly enough: boolean;
  /** How often chance alone gives a signal (CH-10); empty: there is no chart. */
  readonly chance: string;
  readonly signals: number;
}

/** `baseline`: runs that set the limits; absent: 20, or all where there are fewer. */
export function judgedHistory({ runs }: ReferenceHistory, { rules, baseline }: { readonly rules: RuleSet; readonly baseline?: number | undefined }): JudgedHistory {
  const values = runs.map((r) => r.mass.value);
  const settings = { rules, baseline: baseline ?? Math.max(fewestInBaseline, Math.min(enoughRuns, values.length)) };
  const chart = individualsChart(values, settings);
  const enough = values.length >= enoughRuns;
  const newest = enough ? null : newestOf(values);
  const percent = (correlation: number): string => `${(100 * chanceOfSignal(settings, values.length, correlation)).toFixed(0)} %`;
  const alike = chart.kind === 'chart' && chart.serial?.alike === true ? `, with neighbours as alike as here ${percent(chart.serial.correlation)}` : '';
  return {
    chart, newest, enough,
    chance: chart.kind === 'chart' ? `Of histories of ${values.length} runs in which nothing changes ${percent(0)} have a signal by chance${alike}.` : '',
    signals: (chart.kind === 'chart' ? chart.signals.length : 0) + (newest?.outside === true ? 1 : 0),
  };
}
