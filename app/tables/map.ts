/** Dead time and slope over supply voltage and rail pressure, on any axes (RED-30 to RED-32, RED-36). */
import { combine, stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import { fitCoilForm } from '../reduce/coil-form.ts';
import type { CoilForm, NoCoilForm } from '../reduce/coil-form.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { meanOf } from '../uncertainty/set.ts';
import { gridValue } from './grid.ts';
import type { Basis, GridAxes, GridCell, GridMissing, GridTable } from './grid.ts';
import { interpolateCarried } from './interpolate.ts';
import type { Interpolated, Knot, Shape } from './interpolate.ts';
import { calculatedText, deadTimeAt, flowAt } from './other-pressure.ts';

export interface DeadTimeCurve {
  readonly injector: number;
  readonly serialNumber: string;
  readonly pressure: number;
  readonly period: number;
  /** Lowest first; the form's residuals are in this order. */
  readonly voltages: readonly number[];
  readonly form: CoilForm | NoCoilForm;
  /** Each inner voltage left out in turn and told by the others: s. */
  readonly leaveOneOut: readonly { readonly voltage: number; readonly predicted: number; readonly found: number; readonly uDifference: number }[];
}

type Estimate = (Interpolated & { readonly kind: 'value' }) | { readonly kind: 'missing'; readonly reason: GridMissing; readonly text: string };

/** Dead time over voltage of each injector, pressure and period: the coil form with its residuals, and what it is worth. */
export function deadTimeCurves(reduction: Reduction): readonly DeadTimeCurve[] {
  return curvesOf(reduction).map(({ cells, first }): DeadTimeCurve => {
    const leaveOneOut = cells.slice(1, -1).flatMap((cell) => {
      const others = cells.filter((c) => c !== cell);
      const told = overVoltage(others, [], 'dead-time', cell.voltage);
      if (told.kind === 'missing') return [];
      const found = deadTimeCarried(cell);
      const difference = stateCarried(combine(told.of.value - found.value, [{ of: told.of, sensitivity: 1 }, { of: found, sensitivity: -1 }]));
      return [{ voltage: cell.voltage, predicted: told.of.value, found: found.value, uDifference: difference.u }];
    });
    return { injector: first.injector, serialNumber: first.serialNumber, pressure: first.pressure, period: first.period, voltages: cells.map((c) => c.voltage), form: formOf(cells), leaveOneOut };
  });
}

/** Cells with a line, by injector, pressure and period, lowest voltage first. */
function curvesOf(reduction: Pick<Reduction, 'cells'>): readonly { readonly cells: readonly LineCell[]; readonly first: LineCell; readonly spoilt: readonly number[] }[] {
  const curves = new Map<string, LineCell[]>();
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') continue;
    const key = `${cell.injector}|${cell.pressure}|${cell.period}`;
    const list = curves.get(key);
    if (list === undefined) curves.set(key, [cell]);
    else list.push(cell);
  }
  return [...curves.values()].flatMap((cells) => {
    const sorted = cells.toSorted((a, b) => a.voltage - b.voltage);
    const [first] = sorted;
    if (first === undefined) return [];
    const spoilt = reduction.cells.flatMap((c) =>
      c.kind === 'no-line' && c.reason === 'leak' && c.injector === first.injector && c.pressure === first.pressure && c.period === first.period ? [c.voltage as number] : [],
    );
    return [{ cells: sorted, first, spoilt }];
  });
}

const forms = new WeakMap<LineCell, Map<string, CoilForm | NoCoilForm>>();

/** The form through these cells; asked for many table cells over the same few lines, so it is kept. */
function formOf(cells: readonly LineCell[]): CoilForm | NoCoilForm {
  const [first] = cells;
  if (first === undefined) return fitCoilForm([], [], []);
  const key = cells.map((c) => c.voltage).join(' ');
  const known = forms.get(first) ?? new Map<string, CoilForm | NoCoilForm>();
  forms.set(first, known);
  const before = known.get(key);
  if (before !== undefined) return before;
  const form = fitCoilForm(cells.map((c) => c.voltage), cells.map((c) => c.deadTime.value), cells.map((c) => Math.max(c.deadTime.uRandom, 1e-12)));
  known.set(key, form);
  return form;
}

/**
 * Along one pressure. Dead time is interpolated over what the coil form is straight in, ln(V / (V - Vp)) (for a range of Vp where the form
 * is not known), slope over the voltage itself. `spoilt`: voltages whose lines were refused because of a leak.
 */
function overVoltage(cells: readonly LineCell[], spoilt: readonly number[], quantity: 'dead-time' | 'slope', voltage: number): Estimate {
  const carried = (cell: LineCell): Carried => (quantity === 'dead-time' ? deadTimeCarried(cell) : slopeCarried(cell));
  const exact = cells.find((c) => Math.abs(c.voltage - voltage) <= 1e-9 * voltage);
  if (exact !== undefined) return { kind: 'value', of: carried(exact), basis: 'measured' };
  const [first, last] = [cells[0], cells.at(-1)];
  if (first === undefined || last === undefined) return { kind: 'missing', reason: 'not-measured', text: 'No line was fitted for this injector at this pressure.' };
  if (first === last && spoilt.length === 0) return { kind: 'missing', reason: 'one-voltage', text: `Only ${first.voltage} V was measured, which tells nothing of other voltages. Measure at least two.` };
  const missed = restsOn([...cells.map((c) => c.voltage), ...spoilt], voltage).find((v) => spoilt.includes(v));
  if (missed !== undefined) {
    return { kind: 'missing', reason: 'leak', text: `This place rests on the line at ${missed} V, which was refused because of a leak. Measure that block again.` };
  }
  if (first === last) return { kind: 'missing', reason: 'one-voltage', text: `Only ${first.voltage} V has a line, which tells nothing of other voltages. Measure the others again.` };
  const span = last.voltage - first.voltage;
  if (voltage < first.voltage - span || voltage > last.voltage + span) return tooFar(`${first.voltage} to ${last.voltage} V`);
  if (quantity === 'slope') return { kind: 'value', ...interpolateCarried(cells.map((c) => ({ x: c.voltage, of: carried(c) })), voltage, 'voltage') };
  const form = formOf(cells);
  const pullIn = form.kind === 'coil-form' ? form.pullInVoltage : null;
  if (pullIn !== null && voltage <= pullIn * 1.02) return tooFar(`voltages that open the injector, ${pullIn.toFixed(1)} V and more`);
  if (pullIn === null && voltage < first.voltage) {
    return { kind: 'missing', reason: 'too-far', text: `Below ${first.voltage} V dead time rises the more steeply the nearer the voltage is to the one that only just opens the injector, and the voltages that were measured do not tell which that is (the coil form needs four). Measure lower voltages, four in all at least.` };
  }
  // Grow with voltage, so that the knots rise.
  const straightFor = (vp: number) => (v: number): number => -Math.log(v / (v - vp));
  const shape: Shape =
    form.kind === 'coil-form'
      ? { coordinates: [straightFor(form.pullInVoltage)], misfit: misfitOf(form, cells), smooth: true }
      : { coordinates: plausiblePullIn.map((part) => straightFor(part * first.voltage)), misfit: 0 };
  return { kind: 'value', ...interpolateCarried(cells.map((c) => ({ x: c.voltage, of: carried(c) })), voltage, 'voltage', shape) };
}

/** Where the form is not known, the pull-in voltage lies somewhere between these parts of the lowest voltage at which lines were measured (an estimate). RED-100. */
const plausiblePullIn = [0.3, 0.8] as const;

/** RED-102: how far the dead times stand off the form beyond their own scatter, s. */
function misfitOf({ residuals, dof }: CoilForm, cells: readonly LineCell[]): number {
  if (dof < 1) return 0;
  const squares = residuals.reduce((sum, r) => sum + r * r, 0) / dof;
  const scatter = cells.reduce((sum, c) => sum + c.deadTime.uRandom ** 2, 0) / cells.length;
  return Math.sqrt(Math.max(0, squares - scatter));
}

/** The planned voltages that a place is told by: two on either side, and the place itself. RED-45. */
function restsOn(voltages: readonly number[], voltage: number): readonly number[] {
  const rising = voltages.toSorted((a, b) => a - b);
  const same = rising.find((v) => Math.abs(v - voltage) <= 1e-9 * voltage);
  if (same !== undefined) return [same];
  const above = rising.findIndex((v) => v > voltage);
  const next = above < 0 ? rising.length : above;
  return rising.slice(Math.max(0, next - 2), next + 2);
}

function tooFar(range: string): Estimate {
  return { kind: 'missing', reason: 'too-far', text: `This place lies too far outside the measured range (${range}) to say anything of it.` };
}

/** A power is known to no more than so much. */
const widestPower = 0.9;

/**
 * Dead time between two pressures grows in proportion to the pressure: the power of it is 1, known to as much as that with which dead time itself grows between the two (d ln X / d ln p).
 * Injectors of many sizes. RED-96
 */
function againstFluid([low, high]: readonly Knot[]): Shape {
  if (low === undefined || high === undefined) throw new Error('two pressures are needed');
  const growth = Math.abs((2 * (high.of.value - low.of.value)) / (high.of.value + low.of.value)) / Math.log(high.x / low.x);
  const half = growth >= 0 ? Math.min(widestPower, growth * Math.sqrt(3)) : widestPower;
  return { coordinates: [(p) => p ** (1 - half), (p) => p ** (1 + half)], misfit: 0 };
}

/** Slope over pressure is interpolated without its square root, which is put back. */
function overPressure(levels: readonly { readonly pressure: number; readonly estimate: Estimate }[], quantity: 'dead-time' | 'slope', pressure: number, effect: Reduction['pressureEffect']): Estimate {
  const exact = levels.find((l) => Math.abs(l.pressure - pressure) <= 1e-9 * pressure);
  if (exact !== undefined) return exact.estimate;
  const refused = levels.find(({ estimate }) => estimate.kind === 'missing' && estimate.reason === 'leak');
  if (refused !== undefined) return refused.estimate;
  const known = levels.flatMap(({ pressure: at, estimate }) => (estimate.kind === 'value' ? [{ at, estimate }] : []));
  const [first, last] = [known[0], known.at(-1)];
  if (first === undefined || last === undefined) {
    return levels[0]?.estimate ?? { kind: 'missing', reason: 'not-measured', text: 'No line was fitted for this injector.' };
  }
  if (first === last) {
    const { of, basis } = first.estimate;
    const told = quantity === 'slope' ? flowAt(of, first.at, pressure) : deadTimeAt(of, first.at, pressure, effect);
    if (told !== null) return { kind: 'value', of: told, basis: worse([basis, 'estimated']) };
    const calculated = quantity === 'slope' ? `It is calculated ${calculatedText}.` : `With reduction.pressureEffect in the plan it is calculated ${calculatedText}.`;
    return { kind: 'missing', reason: 'one-pressure', text: `Only ${first.at / 1e3} kPa was measured, which tells nothing of other pressures. ${calculated} Measure at least two.` };
  }
  const span = last.at - first.at;
  if (!(pressure > 0) || pressure < first.at - span || pressure > last.at + span) return tooFar(`${first.at / 1e3} to ${last.at / 1e3} kPa`);
  const root = (p: number): number => (quantity === 'slope' ? Math.sqrt(p / first.at) : 1);
  const scaled = (of: Carried, factor: number): Carried => combine(of.value * factor, [{ of, sensitivity: factor }]);
  const knots = known.map(({ at, estimate }) => ({ x: at, of: scaled(estimate.of, 1 / root(at)) }));
  const { of, basis } = interpolateCarried(knots, pressure, 'pressure', quantity === 'dead-time' && knots.length === 2 ? againstFluid(knots) : undefined);
  return { kind: 'value', of: scaled(of, root(pressure)), basis: worse([basis, ...known.map((k) => k.estimate.basis)]) };
}

function worse(bases: readonly Basis[]): Basis {
  if (bases.includes('unresolved')) return 'unresolved';
  if (bases.includes('extrapolated')) return 'extrapolated';
  if (bases.includes('estimated')) return 'estimated';
  return bases.includes('interpolated') ? 'interpolated' : 'measured';
}

const words = {
  'dead-time': {
    title: 'Time-Offset X (dead time)',
    siUnit: 's',
    method: 'Fritsch-Butland over ln(V / (V - Vp)) of the coil form, or the middle of what Vp from 0.3 to 0.8 of the lowest voltage gives where the form is not known; Fritsch-Butland over pressure',
  },
  slope: { title: 'Slope m', siUnit: 'kg/s', method: 'Fritsch-Butland over voltage, and over pressure after its square root' },
} as const;

/** One table for each injector and period, then one of the set mean: voltage down, pressure across. */
export function mapTables(reduction: Pick<Reduction, 'cells' | 'pressureEffect'>, quantity: 'dead-time' | 'slope', axes: Pick<GridAxes, 'voltages' | 'pressures'>): readonly GridTable[] {
  const periods = [...new Set(reduction.cells.map((c) => c.period))];
  const injectors = new Map(reduction.cells.map((c) => [c.injector, c.serialNumber]));
  const curves = curvesOf(reduction);
  const rising = (list: readonly number[]): readonly number[] => [...new Set(list)].sort((a, b) => a - b);
  const voltages = axes.voltages.length > 0 ? axes.voltages : rising(reduction.cells.map((c) => c.voltage));
  const pressures = axes.pressures.length > 0 ? axes.pressures : rising(reduction.cells.map((c) => c.pressure));
  return periods.flatMap((period) => {
    const estimates = [...injectors].map(([injector, serialNumber]) => {
      const own = curves.filter((c) => c.first.injector === injector && c.first.period === period).sort((a, b) => a.first.pressure - b.first.pressure);
      const rows = voltages.map((voltage) => {
        const levels = own.map(({ cells, first, spoilt }) => ({ pressure: first.pressure, estimate: overVoltage(cells, spoilt, quantity, voltage) }));
        return pressures.map((pressure) => overPressure(levels, quantity, pressure, reduction.pressureEffect));
      });
      return { of: serialNumber, rows };
    });
    const mean = voltages.map((_, i) => pressures.map((__, j) => meanEstimate(estimates.map((e) => e.rows[i]?.[j]))));
    return [...estimates, { of: 'Set mean', rows: mean }].map(
      ({ of, rows }): GridTable => ({
        quantity,
        ...words[quantity],
        of,
        period,
        at: '',
        rows: { name: 'supply voltage', siUnit: 'V', values: voltages },
        columns: { name: 'rail pressure', siUnit: 'Pa', values: pressures },
        cells: rows.map((row) => row.map(gridCell)),
      }),
    );
  });
}

function gridCell(estimate: Estimate): GridCell {
  return estimate.kind === 'missing' ? estimate : gridValue(estimate.of, estimate.basis);
}

/** RED-22: the mean of these injectors, with every error that they have in common kept whole. */
function meanEstimate(members: readonly (Estimate | undefined)[]): Estimate {
  const known = members.flatMap((m) => (m?.kind === 'value' ? [m] : []));
  if (known.length === 0 || known.length < members.length) {
    return { kind: 'missing', reason: 'member-missing', text: 'At least one injector of the set has no value here, so the set has no mean.' };
  }
  return {
    kind: 'value',
    of: meanOf(known.map((m) => m.of)),
    basis: worse(known.map((m) => m.basis)),
  };
}
