/** Budgets and findings of a reduction for the terminal. */
import { benchDriftSentence } from '../../app/reduce/bench-drift.ts';
import { sweepLagSentence } from '../../app/reduce/coil-lag.ts';
import { coilLagSentence } from '../../app/reduce/coil-memory.ts';
import { supplyLossSentence } from '../../app/reduce/supply-loss.ts';
import { curvatureSentences } from '../../app/reduce/curvature.ts';
import { slopeModelSentence } from '../../app/reduce/slope-words.ts';
import { formatExpanded } from '../../app/quantities/format.ts';
import type { Kilograms, KilogramsPerCubicMetre, KilogramsPerSecond, Seconds } from '../../app/quantities/quantity.ts';
import type { BudgetTable } from '../../app/reduce/budget-table.ts';
import { shownPoint } from '../../app/plan/points.ts';
import { driftOf } from '../../app/results/drift.ts';
import type { MeasuredAt } from '../../app/results/drift.ts';
import { massesOf } from '../../app/results/run-results.ts';
import { blindSentences, invarianceSentences } from '../../app/reduce/invariance-words.ts';
import { leakSentences, millilitresPerMinute } from '../../app/reduce/leak-words.ts';
import { lightWindowSentences } from '../../app/reduce/window-words.ts';
import { pressureExponents } from '../../app/reduce/pressure-exponent.ts';
import type { BlindFinding, LineCell, Reduction } from '../../app/reduce/reduction.ts';
import { deadTimeCurves } from '../../app/tables/map.ts';
import { cubicCentimetresPerMinute, estimateForFluid, gramsPerMinute, poundsPerHour } from '../../app/tables/units.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import { evidenceText } from '../export/csv.ts';
import { columnLines } from './print-table.ts';
import { wrapped } from './say.ts';

const four = (value: number): string => Number(value.toPrecision(4)).toString();

/** The budget of one attempt (GUM, table H.1). `what` names the attempt. */
export function budgetLines({ mass, rows }: BudgetTable, what: string, width: number): readonly string[] {
  const head = ['input', 'value', 'u', 'sensitivity, mg per unit', 'contribution, ug', 'of variance', 'kind', 'type', 'from'];
  const lines = rows.map((r) => [
    labelOf(r.source),
    `${four(r.value)} ${r.unit}`,
    four(r.standardUncertainty),
    four(r.sensitivity * 1e6),
    four(r.contribution * 1e9),
    `${(100 * r.shareOfVariance).toFixed(1)} %`,
    r.kind,
    Number.isFinite(r.dof) ? `A, ${r.dof} dof` : 'B',
    evidenceText(r.evidence),
  ]);
  const stated = formatExpanded(mass.value as Kilograms, 'mg', mass.expanded as Kilograms);
  const parts = `u random ${four(mass.uRandom * 1e9)} ug, shared ${four(mass.uShared * 1e9)} ug; coverage factor ${mass.coverageFactor.toFixed(2)} for 95 %`;
  return [...wrapped(`Uncertainty budget of ${what}`, width), ...columnLines([head, ...lines], 'left', width), ...wrapped(`Qd = ${stated}; ${parts}`, width)];
}

export interface FindingSection {
  readonly title: string;
  readonly lines: readonly string[];
}

/** Another fluid to estimate static flows for, and the one that was measured with. */
export interface OtherFluid {
  readonly measuredWith: KilogramsPerCubicMetre;
  readonly density: KilogramsPerCubicMetre;
}

/** What a reduction tells beside its tables, by heading. */
export function findingsOf(reduction: Reduction, times: readonly MeasuredAt[], other: OtherFluid | null = null): readonly FindingSection[] {
  return [
    slopeLines(reduction),
    staticLines(reduction),
    ...(other === null ? [] : [otherFluidLines(reduction, other)]),
    rangeLines(reduction),
    curveLines(reduction),
    exponentLines(reduction),
    driftLines(reduction, times),
    leakLines(reduction),
    lightLines(reduction),
    { title: 'Invariance set: the same number under a changed nuisance', lines: invarianceSentences(reduction.invariance) },
    { title: 'Blind windows', lines: [...blindSentences(reduction.blind), ...reduction.blind.map(blindLine)] },
  ];
}

/** The same for the terminal. */
export const findingLines = (sections: readonly FindingSection[]): readonly string[] => sections.flatMap(({ title, lines }) => ['', title, ...lines.map((line) => `  ${line}`)]);

function slopeLines({ slopeModels }: Reduction): FindingSection {
  return {
    title: 'Slope over voltages',
    lines: slopeModels.map((model) => `${model.type} at ${model.pressure / 1e3} kPa, period ${four(model.period * 1e3)} ms: ${slopeModelSentence(model)}`),
  };
}

function staticLines({ staticFlows, cells }: Reduction): FindingSection {
  return {
    title: 'Static flow Qs',
    lines: staticFlows.map((s) => {
      const where = `${s.serialNumber} at ${s.pressure / 1e3} kPa`;
      if (s.kind === 'no-static-flow') return `${where}: ${s.text}`;
      const flow = formatExpanded(s.flow.value as KilogramsPerSecond, 'g/s', s.flow.expanded as KilogramsPerSecond);
      const ratios = cells.flatMap((c) => (c.kind === 'line' && c.injector === s.injector && c.pressure === s.pressure && c.staticToSlope !== null ? [`${c.staticToSlope.value.toFixed(4)} ± ${c.staticToSlope.expanded.toFixed(4)} at ${c.voltage} V`] : []));
      return `${where}: ${flow} (${gramsPerMinute(s.flow.value as KilogramsPerSecond).toFixed(2)} g/min), ${s.sources.length} windows; Qs / m ${ratios.join(', ')}`;
    }),
  };
}

/** RED-37 */
function otherFluidLines({ staticFlows }: Reduction, { measuredWith, density }: OtherFluid): FindingSection {
  const lines = staticFlows.flatMap((s) => {
    if (s.kind === 'no-static-flow') return [];
    const { estimate, relativeUncertainty } = estimateForFluid(s.flow.value as KilogramsPerSecond, measuredWith, density);
    const percent = 100 * Math.hypot(relativeUncertainty, s.flow.u / s.flow.value);
    return [
      `${s.serialNumber} at ${s.pressure / 1e3} kPa: about ${gramsPerMinute(estimate).toFixed(1)} g/min, ${cubicCentimetresPerMinute(estimate, density).toFixed(1)} cc/min, ${poundsPerHour(estimate).toFixed(2)} lb/h (standard uncertainty ${percent.toFixed(1)} %)`,
    ];
  });
  const [first] = staticFlows.flatMap((s) => (s.kind === 'static-flow' ? [s.flow.value as KilogramsPerSecond] : []));
  return {
    title: `Static flow of a fluid of ${density} kg/m3`,
    lines: first === undefined ? ['No static flow was measured, so there is none to estimate from.'] : [estimateForFluid(first, measuredWith, density).text, ...lines],
  };
}

function rangeLines({ cells }: Reduction): FindingSection {
  const milliseconds = (s: Seconds): string => `${four(s * 1e3)} ms`;
  const line = (c: LineCell): string => {
    const range =
      c.flowRange === null
        ? 'no width inside the limit'
        : `LFR ${four(c.flowRange.ratio)} within ${c.flowRange.limitPercent} % from PW ${milliseconds(c.flowRange.from)}${c.flowRange.reenters.length > 0 ? ` (the curve comes back inside at ${c.flowRange.reenters.map(milliseconds).join(', ')})` : ''}`;
    const repeats = c.lowestRepeatable.kind === 'width' ? `repeatable from ${four(c.lowestRepeatable.width * 1e3)} ms` : c.lowestRepeatable.text;
    return `${c.serialNumber} at ${c.voltage} V, ${c.pressure / 1e3} kPa: line from ${milliseconds(c.region.from)}; ${range}; ${repeats}`;
  };
  return { title: 'Linear flow range and lowest usable width', lines: cells.flatMap((c) => (c.kind === 'line' ? [line(c)] : [])) };
}

function curveLines(reduction: Reduction): FindingSection {
  return {
    title: 'Dead time over voltage, X = a + tau ln(V / (V - Vp))',
    lines: deadTimeCurves(reduction).map(({ serialNumber, pressure, form, leaveOneOut }) => {
      const where = `${serialNumber} at ${pressure / 1e3} kPa`;
      const worst = leaveOneOut.toSorted((a, b) => Math.abs(b.predicted - b.found) - Math.abs(a.predicted - a.found))[0];
      const left = worst === undefined ? '' : `; a voltage left out is predicted within ${four(Math.abs(worst.predicted - worst.found) * 1e6)} us at worst (${worst.voltage} V, standard uncertainty of that ${four(worst.uDifference * 1e6)} us)`;
      if (form.kind === 'no-coil-form') return `${where}: ${form.text}${left}`;
      const u = (i: number): number => Math.sqrt(form.covariance[i]?.[i] ?? 0);
      const residual = Math.max(...form.residuals.map(Math.abs));
      return `${where}: a ${four(form.a * 1e3)} ms (u ${four(u(0) * 1e3)}), tau ${four(form.tau * 1e3)} ms (u ${four(u(1) * 1e3)}), Vp ${four(form.pullInVoltage)} V (u ${four(u(2))}); standard uncertainties of scatter alone; largest residual ${four(residual * 1e6)} us${left}`;
    }),
  };
}

function exponentLines(reduction: Reduction): FindingSection {
  const exponents = pressureExponents(reduction);
  const known = exponents.flatMap((e) => (e.kind === 'exponent' ? [e] : []));
  const [missing] = exponents.filter((e) => e.kind === 'no-exponent');
  return {
    title: 'Pressure exponent (an orifice has 0.5)',
    lines:
      known.length === 0
        ? [missing?.text ?? 'No line and no static flow was measured.']
        : known.map(({ serialNumber, of, exponent, agreesWithOrifice, fit }) => {
            const from = of.quantity === 'slope' ? `slope at ${of.voltage} V` : 'static flow';
            return `${serialNumber}, ${from}: ${exponent.value.toFixed(4)} ± ${exponent.expanded.toFixed(4)}${agreesWithOrifice ? '' : ', farther from 0.5 than its U95 (one exact orifice in twenty is)'}${fit === 'other-shape' ? '; the flows do not follow one power of pressure, so it holds on average only' : fit === 'not-tested' ? '; two pressures do not show whether the flows follow one power' : ''}`;
          }),
  };
}

function leakLines({ leak, periodPair, cells }: Reduction): FindingSection {
  const blocks =
    leak.kind === 'leak'
      ? leak.blocks.map(
          (b) =>
            `block ${b.block + 1}, ${b.voltage} V, ${b.pressure / 1e3} kPa: ${millilitresPerMinute(b.flow)}, u ${millilitresPerMinute(b.uFlow)}; change ${millilitresPerMinute(b.change)}, u ${millilitresPerMinute(b.uChange)}`,
        )
      : [];
  const pairs =
    periodPair.kind === 'period-pair'
      ? periodPair.injectors.map((i) => `period pair of ${i.serialNumber}: ${millilitresPerMinute(i.flow)} beyond what is taken off, u of scatter ${millilitresPerMinute(i.uRandom)}`)
      : [];
  return { title: 'Fluid that leaks past the injector under test', lines: [...leakSentences(leak, periodPair, cells), ...blocks, ...pairs] };
}

function lightLines({ lightWindows }: Reduction): FindingSection {
  const lines = lightWindowSentences(lightWindows);
  return { title: 'Windows that count less than their repeats', lines: lines.length > 0 ? lines : ['None: every window counts as much as its repeats.'] };
}

function blindLine({ point, injector, voltage, width, found, expanded, truth }: BlindFinding): string {
  const us = (s: number): string => (s * 1e6).toFixed(2);
  return `point ${shownPoint(point)}, injector ${injector + 1}, ${voltage} V, ${four(width * 1e3)} ms: found ${us(found)} ± ${us(expanded)} us, ${truth === null ? 'sealed' : `driven ${us(truth)} us${Math.abs(found - truth) <= expanded ? '' : ', which lies outside'}`}`;
}

function curvatureLines({ curvatures }: Reduction): readonly string[] {
  const bent = curvatureSentences(curvatures);
  return bent.length > 0 || curvatures.length === 0 ? bent : ['Over their whole length lines bend no more than scatter explains.'];
}

function driftLines(reduction: Reduction, times: readonly MeasuredAt[]): FindingSection {
  const { trend } = driftOf(massesOf(reduction.windows), times);
  return {
    title: 'Drift of the reference point, coils that follow late, and lines that bend',
    lines: [
      trend.kind === 'no-drift'
        ? trend.text
        : `${trend.points.length} points: ${trend.overRunPercent.value.toFixed(3)} ± ${trend.overRunPercent.expanded.toFixed(3)} % over the run, ${trend.text}; scatter ${trend.scatterPercent.toFixed(3)} %`,
      benchDriftSentence(reduction),
      ...(reduction.supplyLoss === undefined ? [] : [supplyLossSentence(reduction.supplyLoss)]),
      ...reduction.coilLags.map(coilLagSentence),
      ...reduction.sweepLags.map(sweepLagSentence),
      ...curvatureLines(reduction),
    ],
  };
}
