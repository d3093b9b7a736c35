/** What the metrology commands say to programs (CLI-5, CLI-12). */
import type { IndividualsChart, NoChart } from '../../app/charts/individuals-chart.ts';
import type { NewestRun } from '../../app/charts/newest.ts';
import type { ReferenceHistory } from '../../app/charts/reference-history.ts';
import type { Candidates } from '../../app/matching/candidates.ts';
import type { Match } from '../../app/matching/match.ts';
import type { MatchCriterion } from '../../app/matching/problem.ts';
import { shownPoint } from '../../app/plan/points.ts';
import type { OutlierReport } from '../../app/results/outliers.ts';
import { lowestWidthText, type RepeatabilityByWidth } from '../../app/results/repeatability-by-width.ts';
import { isoTime } from '../clock/dating.ts';
import type { Line } from './json.ts';

export const outliersForPrograms = (run: string, notTraceable: readonly string[], report: OutlierReport): readonly Line<'outliers'>[] => [
  ...report.outliers.map(({ windows, g, text }) => ({ kind: 'outlier' as const, points: windows.map(({ point, attempt }) => ({ point: shownPoint(point), attempt })), standardDeviations: g, text })),
  { kind: 'tested', run, notTraceable: [...notTraceable], windows: report.windowsTested, pairs: report.pairsTested, notTested: report.windowsNotTested, text: report.text },
];

export const repeatabilityForPrograms = ({ pressure, period, widths, lowest }: RepeatabilityByWidth, limitPercent: number): Line<'outliers'> => ({
  kind: 'repeatability',
  pressurePa: pressure,
  periodS: period,
  limitPercent,
  widths: widths.map(({ width, repeatability: r }) =>
    r.kind === 'repeatability' ? { widthS: width, sd: r.sd, low: r.interval.low, high: r.interval.high, limit: r.limit, robustSd: r.robustSd, dof: r.dof } : { widthS: width, text: r.text },
  ),
  lowestWidthS: lowest.kind === 'width' ? lowest.width : null,
  provedFromS: lowest.kind === 'width' ? lowest.proved : null,
  text: lowestWidthText(lowest, limitPercent),
});

interface AskedPoint {
  readonly text: string;
  readonly scale: MatchCriterion['scale'];
  readonly weight: number;
}

export function matchForPrograms(match: Match, { cautions, leftOut }: Candidates, runs: Line<'match'>['runs'], points: readonly AskedPoint[]): Line<'match'> {
  const cell = (of: { readonly value: number; readonly expanded: number } | undefined, p: number): { value: number; expanded: number } => {
    // Dead times are compared in microseconds (MA-1).
    const toUnit = points[p]?.scale === 'percent' ? 1 : 1e-6;
    return { value: (of?.value ?? 0) * toUnit, expanded: (of?.expanded ?? 0) * toUnit };
  };
  return {
    points: points.map(({ text, scale, weight }) => ({ point: text, unit: scale === 'percent' ? '%' : 's', weight })),
    cautions: [...cautions],
    runs,
    leftOut: leftOut.map(({ serialNumber, text }) => ({ injector: serialNumber, text })),
    sets: match.sets.map(({ members, cost, points: at }) => ({
      cost,
      members: members.map(({ serialNumber, run }, m) => ({ injector: serialNumber, run, deviations: at.map((point, p) => cell(point.deviations[m], p)) })),
      spread: at.map((point, p) => cell(point.spread, p)),
    })),
    inNoSet: match.left.map((c) => c.serialNumber),
    greatest: match.greatest,
    total: match.total,
    provedBest: match.proof.kind === 'best',
    text: match.text,
  };
}

/** `chance`: how often such a chart signals although nothing changes, in words. */
export function historyForPrograms({ serialNumber, voltage, pressure, width, period, referenceC, runs }: ReferenceHistory, chart: IndividualsChart | NoChart, newest: NewestRun | null, chance: string): Line<'reference-history'> {
  const isChart = chart.kind === 'chart';
  return {
    injector: serialNumber,
    voltage,
    pressurePa: pressure,
    widthS: width,
    periodS: period,
    referenceC,
    runs: runs.map(({ run, at, mass, meterCertificate }) => ({ run, at: isoTime(at), massKg: mass.value, expandedKg: mass.expanded, meterCertificate })),
    limits: isChart
      ? {
          baseline: chart.baseline, lowerKg: chart.individuals.lower, centreKg: chart.individuals.centre, upperKg: chart.individuals.upper,
          movingRangeUpperKg: chart.movingRange.upper, sigmaKg: chart.sigma, text: chance,
        }
      : null,
    noLimits: isChart ? null : chart.text,
    signals: isChart ? chart.signals.map(({ chart: of, rule, index, text }) => ({ chart: of, rule, run: runs[index]?.run ?? '', text })) : [],
    cautions: isChart ? [...chart.cautions] : [],
    newest: newest === null ? null : { lowKg: newest.low, highKg: newest.high, outside: newest.outside },
  };
}
