/** The reference injectors over the runs of an archive, charted, for windows. HOST-94 */
import type { AnswerTo, ParsedParams } from '../../app/contract/contract.ts';
import { judgedHistory } from '../../app/charts/judged-history.ts';
import { referenceHistories, type ReferenceHistory } from '../../app/charts/reference-history.ts';
import type { Archive } from '../archive/archive.ts';
import { runsWithReference } from '../export/reference-runs.ts';
import { loadRun } from '../service/run-service.ts';

/** The latest of a history that are handed to a window. */
const MOST_RUNS = 500;

type Told = AnswerTo<'reference.history'>['histories'][number];

export function chartedReferences(archive: Archive, params: ParsedParams<'reference.history'>, ending: AbortSignal | undefined): AnswerTo<'reference.history'> {
  const unread: string[] = [];
  const histories = referenceHistories([
    ...runsWithReference(archive, (id) => {
      ending?.throwIfAborted();
      const loaded = loadRun(archive, id);
      if (!loaded.ok) unread.push(id);
      return loaded.ok ? loaded.state : null;
    }),
  ]);
  return { histories: histories.map((history) => told(history, params)), unread };
}

function told(history: ReferenceHistory, params: ParsedParams<'reference.history'>): Told {
  const { serialNumber, voltage, pressure, width, period, referenceC, runs } = history;
  const { chart, newest, enough, chance } = judgedHistory(history, params);
  const skipped = Math.max(0, runs.length - MOST_RUNS);
  const isChart = chart.kind === 'chart';
  const flags = (index: number): string[] => (isChart ? chart.signals.filter((s) => s.index === index).map((s) => (s.chart === 'individuals' ? s.rule : `${s.rule} range`)) : []);
  return {
    serialNumber, voltage, pressure, width, period, referenceC,
    runs: runs.slice(skipped).map(({ run, at, mass, meterCertificate }, i) => ({ run, at, mass: mass.value, expanded: mass.expanded, meterCertificate, rules: flags(i + skipped) })),
    limits: isChart ? { baseline: chart.baseline, lower: chart.individuals.lower, centre: chart.individuals.centre, upper: chart.individuals.upper, sigma: chart.sigma, movingRange: chart.movingRange.upper } : null,
    noLimits: isChart ? '' : chart.text,
    signals: isChart ? chart.signals.map((s) => s.text) : [],
    cautions: isChart ? [...chart.cautions] : [],
    newest: newest === null ? null : { ...newest },
    enough, chance,
  };
}
