/**
 * Individuals and moving range chart (Shewhart charts, as in ISO 7870-2 and the NIST/SEMATECH e-Handbook, 6.3.2.2). The rules
 * (CH-n) are in README.md beside this file.
 */
import { sampleOf } from '../statistics/sample.ts';
import { serialOf, type Serial } from '../statistics/serial.ts';
import { chartConstants, meanOfSampleSd } from './constants.ts';
import { chartRules, type RuleSet } from './rules.ts';

export interface ChartSettings {
  readonly rules: RuleSet;
  /** The first so many points set the limits (phase 1); those after them are judged by these limits (phase 2). */
  readonly baseline: number;
}

interface ChartSignal {
  readonly chart: 'individuals' | 'moving-range';
  readonly rule: string;
  /** Index of the point that completes the pattern, and the first one of it. */
  readonly index: number;
  readonly from: number;
  readonly text: string;
}

interface ChartLimits {
  readonly centre: number;
  readonly lower: number;
  readonly upper: number;
}

export interface IndividualsChart {
  readonly kind: 'chart';
  readonly values: readonly number[];
  /** Distance of each point from the one before; null for the first. */
  readonly movingRanges: readonly (number | null)[];
  readonly baseline: number;
  readonly individuals: ChartLimits;
  readonly movingRange: ChartLimits;
  /** Standard deviation from point to point, mean moving range / d2: what the limits rest on. */
  readonly sigma: number;
  /** Standard deviation of the baseline as a whole, s / c4. */
  readonly sigmaOfBaseline: number;
  /** Whether neighbouring points of the baseline are alike. */
  readonly serial: Serial | null;
  /** By index. */
  readonly signals: readonly ChartSignal[];
  readonly cautions: readonly string[];
}

export interface NoChart {
  readonly kind: 'no-chart';
  readonly reason: 'too-few' | 'no-scatter' | 'not-a-number' | 'bad-baseline';
  readonly text: string;
}

/**
 * Fewest points that limits can rest on at all: among fewer even a value that is infinitely far off stays inside limits that it makes itself, being
 * in two of their moving ranges ((1 - 1/n)(n - 1) d2 / 2 < 3). And how many they should rest on (common practice, no source).
 */
export const fewestInBaseline = 8;
const enoughInBaseline = 20;


const constants = chartConstants(2);

/** Values in the order in which they were measured. */
export function individualsChart(values: readonly number[], settings: ChartSettings): IndividualsChart | NoChart {
  const { baseline } = settings;
  if (!values.every((v) => Number.isFinite(v))) {
    return { kind: 'no-chart', reason: 'not-a-number', text: 'A value is missing or not a number, so there is no chart.' };
  }
  if (!Number.isInteger(baseline) || baseline < fewestInBaseline) {
    return { kind: 'no-chart', reason: 'bad-baseline', text: `A baseline is a whole number of at least ${fewestInBaseline} points; ${baseline} cannot set limits.` };
  }
  if (values.length < baseline) {
    return { kind: 'no-chart', reason: 'too-few', text: `The baseline needs ${baseline} points and there are ${values.length}. Measure on${baseline > fewestInBaseline ? `, or choose a shorter baseline (at least ${fewestInBaseline})` : ''}.` };
  }
  const movingRanges = values.map((value, i) => {
    const before = values[i - 1];
    return before === undefined ? null : Math.abs(value - before);
  });
  const phase1 = sampleOf(values.slice(0, baseline));
  const meanRange = sampleOf(movingRanges.slice(1, baseline).flatMap((r) => (r === null ? [] : [r]))).mean;
  if (!(meanRange > 0)) {
    return { kind: 'no-chart', reason: 'no-scatter', text: 'All points of the baseline are equal, so there is no scatter to set limits by.' };
  }
  const sigma = meanRange / constants.d2;
  const half = constants.e2 * meanRange;
  const sigmaOfBaseline = Math.sqrt(phase1.squares / (baseline - 1)) / meanOfSampleSd(baseline);
  const movingRange = { centre: meanRange, lower: constants.D3 * meanRange, upper: constants.D4 * meanRange };
  const z = values.map((value) => (value - phase1.mean) / sigma);
  const signals = [...individualSignals(z, settings), ...rangeSignals(movingRanges, movingRange.upper, settings)];
  const serial = serialOf(values.slice(0, baseline));
  return {
    kind: 'chart',
    values,
    movingRanges,
    baseline,
    individuals: { centre: phase1.mean, lower: phase1.mean - half, upper: phase1.mean + half },
    movingRange,
    sigma,
    sigmaOfBaseline,
    signals: signals.sort((a, b) => a.index - b.index || a.rule.localeCompare(b.rule)),
    serial,
    cautions: cautionsOf(baseline, sigmaOfBaseline / sigma, serial, signals),
  };
}

const where = (index: number, baseline: number): string => `Point ${index + 1}${index < baseline ? ' (of the baseline)' : ''}`;

function individualSignals(z: readonly number[], { rules, baseline }: ChartSettings): ChartSignal[] {
  return chartRules[rules].flatMap(({ id, length, fewest, text, signals }) =>
    z.flatMap((_, index): ChartSignal[] => {
      const from = Math.max(0, index - length + 1);
      if (index + 1 < fewest || !signals(z.slice(from, index + 1))) return [];
      return [{ chart: 'individuals', rule: id, index, from, text: `${where(index, baseline)} is a signal, because ${text} (${id}).` }];
    }),
  );
}

/** Only the limit: neighbouring ranges share a point and are not normal, so the patterns mean nothing there. */
function rangeSignals(ranges: readonly (number | null)[], upper: number, { rules, baseline }: ChartSettings): ChartSignal[] {
  const id = chartRules[rules][0]?.id ?? '';
  return ranges.flatMap((range, index): ChartSignal[] =>
    range === null || range <= upper
      ? []
      : [{ chart: 'moving-range', rule: id, index, from: index - 1, text: `${where(index, baseline)} lies further from the one before than the upper limit of the moving range (${id}).` }],
  );
}

function cautionsOf(baseline: number, ratio: number, serial: Serial | null, signals: readonly ChartSignal[]): readonly string[] {
  const cautions: string[] = [];
  if (baseline < enoughInBaseline) {
    cautions.push(`The limits rest on ${baseline} points only and are provisional; set them again from ${enoughInBaseline} or more.`);
  }
  if (serial?.alike === true) {
    cautions.push(`Neighbouring points of the baseline are alike (correlation about ${serial.correlation.toFixed(1)}; over all it scatters ${ratio.toFixed(1)} times as much as from point to point): it wandered or stepped, and limits from point to point are narrower than what happened.`);
  }
  if (signals.some((s) => s.index < baseline)) {
    cautions.push('The baseline itself has signals. Find their causes before these limits are relied on; a point is left out only with a reason written down.');
  }
  return cautions;
}
