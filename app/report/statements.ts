/** What a report says of how the numbers came about and how far they may be believed, in sentences. REP-2, REP-6. */
import { takenForGranted, certificatesOn, lotAgeDays } from '../equipment/standing.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { pointsWithoutResult } from '../journal/targets.ts';
import type { RunState } from '../journal/state.ts';
import { shownPoint } from '../plan/points.ts';
import { plusMinus } from '../quantities/figures.ts';
import { countingAttempts } from '../reduce/counting.ts';
import { benchDriftSentence } from '../reduce/bench-drift.ts';
import { sweepLagSentence } from '../reduce/coil-lag.ts';
import { curvatureSentences } from '../reduce/curvature.ts';
import { blindSentences, invarianceSentences } from '../reduce/invariance-words.ts';
import { leakSentences } from '../reduce/leak-words.ts';
import { slopeModelSentence } from '../reduce/slope-words.ts';
import { lightWindowSentences } from '../reduce/window-words.ts';
import type { Reduction } from '../reduce/reduction.ts';
import type { Drift } from '../results/drift.ts';
import { comparisonText } from '../run/time-base.ts';
import { outText } from '../run/ending.ts';
import type { ReportDetails } from './details.ts';
import type { ReportStatement } from './document.ts';
import { shownMilliseconds } from './results-tables.ts';

export interface ReportedRun {
  readonly state: RunState;
  readonly reduction: Omit<Reduction, 'windows'>;
  readonly drift: Drift;
  readonly details: ReportDetails;
  /** Days of the first and the last attempt, ISO 8601. */
  readonly days: { readonly first: string; readonly last: string };
  /** Measured on a simulated bench; null: not known. */
  readonly simulated: boolean | null;
}

const NAMED = 20;
const numbers = (points: readonly number[]): string => `${points.slice(0, NAMED).map(shownPoint).join(', ')}${points.length > NAMED ? ` and ${points.length - NAMED} more` : ''}`;
const capital = (sentence: string): string => sentence.charAt(0).toUpperCase() + sentence.slice(1);
const plural = (n: number, one: string, many: string): string => `${n} ${n === 1 ? one : many}`;

/** First page: what a reader must know before any number. */
export function warningsOf({ state, reduction, details, days, simulated }: ReportedRun): readonly string[] {
  const { equipment } = state;
  const stale = [...new Set([...certificatesOn(equipment, days.first).stale, ...certificatesOn(equipment, days.last).stale])];
  const old = equipment.fluid.useWithinDays !== undefined && lotAgeDays(equipment, days.last) > equipment.fluid.useWithinDays;
  const without = pointsWithoutResult(state);
  const cells = reduction.cells.filter((c) => c.kind === 'no-line').length;
  return [
    ...(simulated === true ? ['Measured on the simulated bench of this program: nothing here is of a real injector.'] : []),
    ...(state.notTraceable.length > 0 ? [`NOT TRACEABLE. ${state.notTraceable.join(' ')}`] : []),
    ...(stale.length > 0 ? [`Out of calibration when it was measured: ${stale.join('; ')}.`] : []),
    ...(old ? [`The fluid (lot ${equipment.fluid.lot}) was older than its lab allows.`] : []),
    ...(state.ending === null ? ['The run was not finished when this was written.'] : []),
    ...(without.length > 0 ? [`${plural(without.length, 'point has', 'points have')} no result: ${numbers(without)}.`] : []),
    ...(cells > 0 ? [`${cells} of ${reduction.cells.length} dead times and slopes could not be stated; each cell says why.`] : []),
    ...(details.receivedOn !== undefined && details.receivedOn > days.first ? [`The items are said to have been received on ${details.receivedOn}, and were measured from ${days.first} on.`] : []),
    ...unmetTargets(reduction, details),
  ];
}

/** Agreed uncertainties that were not reached. */
function unmetTargets({ cells, staticFlows }: ReportedRun['reduction'], { targets }: ReportDetails): readonly string[] {
  const lines = cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
  const flows = staticFlows.flatMap((s) => (s.kind === 'static-flow' ? [s.flow] : []));
  const missed = (what: string, target: number | undefined, unit: string, all: readonly number[]): readonly string[] => {
    if (target === undefined) return [];
    if (all.length === 0) return [`An uncertainty of ${what} was agreed (U95 at most ${target} ${unit}), and the run has none of them.`];
    const over = all.filter((u) => u > target);
    return over.length === 0 ? [] : [`The agreed uncertainty of ${what} (U95 at most ${target} ${unit}) is not met by ${over.length} of ${all.length}; the largest is ${shownAbove(Math.max(...over), target)} ${unit}.`];
  };
  return [
    ...missed('dead times', targets.deadTimeUs, 'us', lines.map((c) => c.deadTime.expanded * 1e6)),
    ...missed('slopes', targets.slopePercent, '%', lines.map((c) => (100 * c.slope.expanded) / c.slope.value)),
    ...missed('static flows', targets.staticFlowPercent, '%', flows.map((f) => (100 * f.expanded) / f.value)),
  ];
}

/** With two digits, or as many as show that it is above the target. */
function shownAbove(value: number, target: number): number {
  let digits = 2;
  while (digits < 15 && Number(value.toPrecision(digits)) <= target) digits += 1;
  return Number(value.toPrecision(digits));
}

/** Everything else that is said in words, in the order of a report. */
export function statementsOf(run: ReportedRun): readonly ReportStatement[] {
  const { state, reduction, details } = run;
  const { equipment } = state;
  return [
    { title: 'Definitions', sentences: definitions },
    { title: 'Method', sentences: methodSentences(run) },
    { title: 'Conditions', sentences: conditionSentences(state, equipment, details) },
    { title: 'Uncertainty', sentences: [uncertaintySentence, ...Object.values(takenForGranted(equipment, reduction.supplyLoss !== undefined)).filter((s) => s !== null), ...reduction.slopeModels.map((m) => `Slopes of type ${m.type} at ${m.pressure / 1e3} kPa: ${slopeModelSentence(m)}`)] },
    { title: 'Drift and reference point', sentences: driftSentences(run) },
    { title: 'Leak', sentences: leakSentences(reduction.leak, reduction.periodPair, reduction.cells) },
    { title: 'Checks of the run by itself', sentences: [...invarianceSentences(reduction.invariance), ...blindSentences(reduction.blind)].map(capital) },
    { title: 'What was left out, and why', sentences: leftOut(run) },
    { title: 'Deviations from the method', sentences: details.deviations.length > 0 ? details.deviations : ['None was stated.'] },
    ...(details.adjustment === undefined ? [] : [{ title: 'Adjustment and repair', sentences: [details.adjustment] }]),
    ...(details.external.length === 0 ? [] : [{ title: 'Results of external providers', sentences: details.external }]),
    ...(details.opinions.length === 0 ? [] : [{ title: 'Opinions and interpretations', sentences: ['They are those of the person who released this report, and no results.', ...details.opinions] }]),
    { title: 'Validity', sentences: ['The results relate only to the items named here, in the condition in which they were measured.', 'No recalibration interval is recommended.', 'This report may be copied only as a whole.'] },
  ];
}

const definitions = [
  'Slope m and dead time X are those of the straight line Qd = m (PW - X) through the linear region: Qd is the mass per pulse, PW the commanded pulse width. X is the pulse width at which that line would deliver nothing; it is no time of opening or closing.',
  'Static flow Qs is the mass flow of the injector held open. Names of quantities are those of the parameter list of SAE J1832.',
  'All results hold at the pressure stated (gauge), the supply voltage stated at the coil end of the wiring, n-heptane at the reference temperature, and the drivers described here.',
];

const uncertaintySentence =
  'The number after the sign ± is the expanded uncertainty U: the standard uncertainty times a coverage factor k for a coverage probability of about 95 %, by Student\'s distribution at the effective degrees of freedom (JCGM 100:2008). k stands below each table. Errors that results have in common are carried as one error through means and differences.';

function methodSentences({ state, details }: ReportedRun): readonly string[] {
  const { plan } = state;
  const { axes } = plan;
  const list = (values: readonly number[], unit: string): string => `${values.join(', ')} ${unit}`;
  return [
    ...(details.method === undefined ? [] : [details.method]),
    `Each injector was pulsed at each condition while a flow meter upstream of the rail was counted from edge to edge (double chronometry, ISO 7278-3); density came from temperature and pressure at the meter. The line was fitted by weighted least squares to the widths that lie on it.`,
    `Plan "${plan.name}": supply ${list(axes.voltageV, 'V')}; rail pressure ${list(axes.pressureKpa, 'kPa')}; pulse width ${list(axes.widthMs, 'ms')}; period ${list(axes.periodMs, 'ms')}; ${plural(axes.replicates, 'replicate', 'replicates')}, ${plan.sequence.kind}.`,
    plan.reduction.linearFromMs === undefined ? `The linear region was found in the data: widths within ${plan.reduction.linearityPercent} % of the line through all longer ones.` : `The linear region is that of widths from ${plan.reduction.linearFromMs} ms on.`,
    `Masses are referred to the set rail pressure and to ${plan.reduction.referenceC} degC.`,
  ];
}

function conditionSentences(state: RunState, equipment: Equipment, details: ReportDetails): readonly string[] {
  const windows = countingAttempts(state).filter(({ point }) => state.setPoints[point]?.role === 'measure');
  const span = (of: (w: (typeof windows)[number]['window']) => number, shift: number, factor: number, digits: number): string => {
    const values = windows.map(({ window }) => (of(window) - shift) * factor);
    const [low, high] = [values.reduce((a, b) => Math.min(a, b), Infinity), values.reduce((a, b) => Math.max(a, b), -Infinity)];
    return `${low.toFixed(digits)} to ${high.toFixed(digits)}`;
  };
  const bench =
    equipment.equipmentVersion === 2
      ? [
          `Drivers: ${equipment.driver.type}; clamp ${plusMinus(equipment.driver.clampV, 2 * equipment.driver.clampUncertaintyV)} V (k = 2), switched terminal to ground. Dead times hold for this clamp.`,
          `Wiring: the supply is sensed at ${equipment.wiring.sensedAt}; from there to the coil ${equipment.wiring.harnessOhm} ohm, which is corrected for.`,
        ]
      : ['Drivers and wiring are not stated in the equipment record; dead times hold for the bench as it was.'];
  const density = equipment.fluid.measuredDensity;
  return [
    ...(windows.length === 0 ? [] : [`Over the windows that count: fluid in the rail ${span((w) => w.railTemperature.mean, 273.15, 1, 2)} degC, at the meter ${span((w) => w.meterTemperature.mean, 273.15, 1, 2)} degC, rail pressure ${span((w) => w.pressure.mean, 0, 1e-3, 2)} kPa (gauge).`]),
    `Room: ${equipment.ambientKpa} kPa absolute${details.environment === undefined ? '' : `; ${details.environment}`}.`,
    `Fluid: ${equipment.fluid.name}, lot ${equipment.fluid.lot}, opened on ${equipment.fluid.openedOn}; ${density === undefined ? `density by the equation of state${equipment.fluid.purityPercent === undefined ? '' : `, purity ${equipment.fluid.purityPercent} %`}` : `density ${density.kgPerM3} kg/m3 at ${density.atC} degC, measured on ${density.on}`}.`,
    ...bench,
    ...[...state.clocks.values()].map((clock) => `Time base: ${comparisonText(clock)}`),
  ];
}

function driftSentences({ reduction, drift: { trend, sdPercent } }: ReportedRun): readonly string[] {
  const bent = curvatureSentences(reduction.curvatures);
  return [
    trend.kind === 'no-drift' ? trend.text : `Reference point, ${trend.points.length} times: ${plusMinus(trend.overRunPercent.value, trend.overRunPercent.expanded, true)} % over the run, ${trend.text}${sdPercent === null ? '' : `; standard deviation ${sdPercent.toFixed(3)} %`}.`,
    benchDriftSentence(reduction),
    ...reduction.sweepLags.map(sweepLagSentence),
    ...(bent.length > 0 || reduction.curvatures.length === 0 ? bent : ['Over their whole length lines bend no more than scatter explains.']),
  ];
}

function leftOut({ state, reduction }: ReportedRun): readonly string[] {
  const of = (verdict: 'rejected' | 'cut'): readonly number[] => state.points.flatMap(({ attempts }, point) => (attempts.some((a) => a.verdict === verdict) ? [point] : []));
  const skipped = state.points.flatMap((p, point) => (p.skipped === null ? [] : [{ point, why: p.skipped }]));
  const byPerson = state.points.flatMap((p, point) => (p.choice !== null && 'person' in p.choice.by ? [{ point, why: p.choice.why, by: p.choice.by.person }] : []));
  const [rejected, cut] = [of('rejected'), of('cut')];
  const out = outText(state);
  const short = reduction.cells.flatMap((c) => (c.kind === 'line' ? [c] : [])).filter((c) => c.widths.some((w) => !w.inRegion));
  const said = [
    ...(rejected.length > 0 ? [`Attempts that did not meet the acceptance limits of the plan were rejected and do not count, at ${plural(rejected.length, 'point', 'points')}: ${numbers(rejected)}.`] : []),
    ...(cut.length > 0 ? [`Attempts that were interrupted do not count, at ${plural(cut.length, 'point', 'points')}: ${numbers(cut)}.`] : []),
    ...skipped.slice(0, NAMED).map(({ point, why }) => `Point ${shownPoint(point)} was left out: ${why}`),
    ...(skipped.length > NAMED ? [`${skipped.length - NAMED} more points were left out.`] : []),
    ...byPerson.slice(0, NAMED).map(({ point, why, by }) => `Point ${shownPoint(point)}: which attempt counts was decided by ${by}: ${why}`),
    ...(byPerson.length > NAMED ? [`Of ${byPerson.length - NAMED} more points a person decided which attempt counts.`] : []),
    ...(out === '' ? [] : [`${out}.`]),
    ...lightWindowSentences(reduction.lightWindows),
    ...(short.length > 0 ? [`Pulse widths below the linear region are in no line: of ${plural(short.length, 'line', 'lines')}, the longest such width is ${shownMilliseconds(Math.max(...short.flatMap((c) => c.widths.filter((w) => !w.inRegion).map((w) => w.width))))}. They are in the short-pulse correction.`] : []),
  ];
  return said.length > 0 ? said : ['Nothing: every attempt counts, and every width is in its line.'];
}
