/** The figures of a report. Each shows numbers that stand in its tables or in its raw data. */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import type { Drift } from '../results/drift.ts';
import { deviationsFromMean, meanOf, percentOf } from '../uncertainty/set.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { FigureSeries, ReportFigure } from './document.ts';

/** More curves than this cannot be told apart in grey: then the set is shown by its mean and its outermost members. */
const CURVES = 8;

export function figuresOf({ cells }: Omit<Reduction, 'windows'>, drift: Drift): readonly ReportFigure[] {
  const lines = cells.filter((c): c is LineCell => c.kind === 'line');
  const conditions = [...new Set(lines.map((c) => `${c.pressure}|${c.period}`))].map((key) => lines.filter((c) => `${c.pressure}|${c.period}` === key));
  return [...conditions.flatMap(deadTimeFigure), ...conditions.flatMap(matchFigure), ...conditions.slice(0, 1).flatMap(linearityFigure), ...driftFigure(drift)];
}

const bySerial = (lines: readonly LineCell[]): readonly LineCell[][] => [...new Set(lines.map((c) => c.injector))].map((i) => lines.filter((c) => c.injector === i).sort((a, b) => a.voltage - b.voltage));

function deadTimeFigure(lines: readonly LineCell[], index: number): readonly ReportFigure[] {
  const [first] = lines;
  const curves = bySerial(lines);
  if (first === undefined || new Set(lines.map((c) => c.voltage)).size < 2) return [];
  const voltages = [...new Set(lines.map((c) => c.voltage))].sort((a, b) => a - b);
  const at = (voltage: number, of: (here: readonly LineCell[]) => number) => ({ x: voltage, y: 1e3 * of(lines.filter((c) => c.voltage === voltage)), u: null });
  const values = (here: readonly LineCell[]): number[] => here.map((c) => c.deadTime.value);
  const series: readonly FigureSeries[] =
    curves.length <= CURVES
      ? curves.map((curve) => ({ name: curve[0]?.serialNumber ?? '', joined: true, points: curve.map((c) => ({ x: c.voltage, y: c.deadTime.value * 1e3, u: c.deadTime.expanded * 1e3 })) }))
      : [
          { name: 'longest', joined: true, points: voltages.map((v) => at(v, (here) => Math.max(...values(here)))) },
          { name: 'mean', joined: true, points: voltages.map((v) => at(v, (here) => values(here).reduce((a, b) => a + b, 0) / here.length)) },
          { name: 'shortest', joined: true, points: voltages.map((v) => at(v, (here) => Math.min(...values(here)))) },
        ];
  return [
    {
      id: `figure-dead-time-${index + 1}`,
      title: `Dead time over supply voltage at ${first.pressure / 1e3} kPa`,
      caption: curves.length <= CURVES ? 'Straight lines join what was measured and are no interpolation. Bars (U95) are mostly smaller than the marks.' : `${curves.length} injectors: their mean, and the longest and shortest dead time at each voltage.`,
      x: { title: 'Supply voltage, V' },
      y: { title: 'Dead time X, ms', zero: false },
      series,
    },
  ];
}

/** How far each injector lies from the set: mean over the voltages would hide what changes, so the voltage nearest to 14 V is shown. */
function matchFigure(lines: readonly LineCell[], index: number): readonly ReportFigure[] {
  const voltage = [...new Set(lines.map((c) => c.voltage as number))].sort((a, b) => Math.abs(a - 14) - Math.abs(b - 14))[0];
  const here = lines.filter((c) => c.voltage === voltage);
  const [first] = here;
  if (first === undefined || here.length < 2) return [];
  const slopes = here.map(slopeCarried);
  const mean = meanOf(slopes);
  const percent = deviationsFromMean(slopes).map((d) => stateCarried(percentOf(d, mean)));
  const us = deviationsFromMean(here.map(deadTimeCarried)).map(stateCarried);
  const x = { title: '', names: here.map((c) => c.serialNumber) };
  return [
    {
      id: `figure-match-slope-${index + 1}`, title: `Slope of each injector against the mean of the set, ${first.voltage} V, ${first.pressure / 1e3} kPa`,
      caption: 'Bars: U95 of the difference; errors that all injectors have in common cancel in it.', x, y: { title: 'Slope less mean, %', zero: true },
      series: [{ name: '', joined: false, points: percent.map((p, i) => ({ x: i, y: p.value, u: p.expanded })) }],
    },
    {
      id: `figure-match-dead-time-${index + 1}`, title: `Dead time of each injector against the mean of the set, ${first.voltage} V, ${first.pressure / 1e3} kPa`,
      caption: 'Bars: U95 of the difference.', x, y: { title: 'Dead time less mean, µs', zero: true },
      series: [{ name: '', joined: false, points: us.map((p, i) => ({ x: i, y: p.value * 1e6, u: p.expanded * 1e6 })) }],
    },
  ];
}

/** Deviation from the line over pulse width, mean of the injectors, one curve for each voltage. */
function linearityFigure(lines: readonly LineCell[]): readonly ReportFigure[] {
  const [first] = lines;
  if (first === undefined) return [];
  const voltages = [...new Set(lines.map((c) => c.voltage))].sort((a, b) => a - b);
  const series = voltages.slice(0, CURVES).map((voltage): FigureSeries => {
    const widths = lines.filter((c) => c.voltage === voltage).flatMap((c) => c.widths);
    const points = [...new Set(widths.map((w) => w.width))].sort((a, b) => a - b).flatMap((width) => {
      const known = widths.flatMap((w) => (w.width === width && w.deviationPercent !== null ? [w.deviationPercent] : []));
      return known.length === 0 ? [] : [{ x: width * 1e3, y: known.reduce((a, b) => a + b, 0) / known.length, u: null }];
    });
    return { name: `${voltage} V`, joined: true, points };
  });
  return [
    {
      id: 'figure-linearity', title: `Deviation from the line over pulse width at ${first.pressure / 1e3} kPa`,
      caption: 'Mean of the injectors, in percent of the line. Where it leaves 0 the short-pulse correction begins; beyond 2 % it is not drawn.',
      x: { title: 'Pulse width PW, ms' }, y: { title: 'Mass less line, %', zero: true, within: [-2, 2] }, series,
    },
  ];
}

function driftFigure({ rows }: Drift): readonly ReportFigure[] {
  const points = rows.flatMap((r) => (r.deviationPercent === null ? [] : [{ x: (r.time - (rows[0]?.time ?? 0)) / 60, y: r.deviationPercent, u: r.u95Percent }]));
  if (points.length < 2) return [];
  return [
    {
      id: 'figure-drift', title: 'Reference point over the run', caption: 'Mass per pulse of the reference point against its mean; bars: random part of U95.',
      x: { title: 'Time since the first, min' }, y: { title: 'Deviation, %', zero: true }, series: [{ name: '', joined: true, points }],
    },
  ];
}
