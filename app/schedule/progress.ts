/** How far the cells of a run are from what its plan wants, and what stands in the way. */
import type { Plan } from '../plan/plan.ts';
import { labelOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { blockOf, microsecondsText, weighsAlike } from './cells.ts';
import type { SoFar, WantedCell } from './cells.ts';
import { largestPart, mapCellsOf, statedOf, toMeasureAsWell } from './map-cells.ts';
import type { MapCell } from './map-cells.ts';
import { aimOf, cellState, leastOf } from './refine.ts';
import { mapPlace } from './refine-map.ts';
import { staticCellsOf, staticState } from './static-cells.ts';
import type { StaticCell } from './static-cells.ts';

/** Of one cell. Seconds; of slopes and static flows relative. */
export interface CellProgress {
  /** A measured dead time, slope or static flow, or a cell of the map that the plan wants. */
  readonly of: 'line' | 'slope' | 'static-flow' | 'map-dead-time' | 'map-slope';
  readonly injector: number;
  readonly serialNumber: string;
  readonly voltage: number;
  readonly pressure: number;
  readonly period: number;
  readonly wanted: number;
  /** U95 as it is now; null: it has no line, yet or at all. */
  readonly expanded: number | null;
  /** What instruments leave of it at any effort, s; null: it has no line. */
  readonly least: number | null;
  readonly windows: number;
  /** open: it takes more windows. beyond: no number of them reaches it. used-up: it has had the windows that the plan allows. */
  readonly state: 'reached' | 'open' | 'beyond' | 'used-up' | 'no-line';
  /** The largest part that windows do not make smaller; null: it has no line. */
  readonly largest: ErrorSource | null;
  /** What would have to be measured as well, or why nothing is told, in sentences; empty: nothing. */
  readonly advice: string;
  /** What is wanted only says how cells compare: the hours of the plan go to the worst (SCH-18). */
  readonly weighed: boolean;
}

/** Every cell that the plan wants of the injectors that are in the run. */
export function progressOf(soFar: SoFar, reduction: Reduction | null): readonly CellProgress[] {
  const weighs = soFar.plan.targets?.spend === 'all-hours';
  return allOf(soFar, reduction).map((cell) => (weighs && cell.of !== 'static-flow' ? asWeighed(cell) : { ...cell, weighed: false }));
}

/** SCH-18: it is there when it is as near as is sensible to what no window takes off. */
function asWeighed(cell: Omit<CellProgress, 'weighed'>): CellProgress {
  const { expanded, least, state } = cell;
  const near = expanded !== null && least !== null && expanded <= aimOf(0, least);
  return { ...cell, weighed: true, state: state === 'no-line' || state === 'used-up' ? state : near ? 'reached' : 'open' };
}

function allOf(soFar: SoFar, reduction: Reduction | null): readonly Omit<CellProgress, 'weighed'>[] {
  const { axes, targets } = soFar.plan;
  const measured = axes.pressureKpa.flatMap((pressure) => axes.periodMs.flatMap((period) => blockOf(soFar, reduction, pressure, period).cells.map((cell) => ({ cell, where: { pressure: pressure * 1e3, period: period / 1e3 } }))));
  const wanted = measured.filter(({ cell }) => Number.isFinite(cell.wanted)).map(({ cell, where }) => progress(cell, where, targets));
  const hasRoom = new Set(measured.filter(({ cell }) => cell.points < (targets?.attemptsPerCell ?? 0)).map(({ cell }) => cell.injector));
  const slopes = targets?.slopePercent === undefined ? [] : measured.map(({ cell, where }) => ofSlope(cell, where, targets, (targets.slopePercent ?? 0) / 100));
  const held = staticCellsOf(soFar, reduction).map((cell) => ofStatic(cell, targets?.attemptsPerCell ?? 0));
  return [...wanted, ...slopes, ...held, ...mapCellsOf(soFar, reduction).map((cell) => ofMap(cell, hasRoom.has(cell.injector), measured))];
}

type Where = { readonly pressure: number; readonly period: number };

function ofSlope({ injector, serialNumber, voltage, points, found }: WantedCell, where: Where, targets: Plan['targets'], wanted: number): Omit<CellProgress, 'weighed'> {
  const place = { of: 'slope', injector, serialNumber, voltage, ...where, wanted, windows: points, advice: '' } as const;
  if (found?.kind !== 'line') return { ...place, expanded: null, least: null, state: 'no-line', largest: null };
  const { value } = found.slope;
  const now = { expanded: found.slope.expanded / value, least: leastOf(found.slope) / value };
  const largest = found.shared.toSorted((a, b) => Math.abs(b.onSlope) - Math.abs(a.onSlope))[0]?.source ?? null;
  return { ...place, ...now, state: cellState(now, wanted, points < (targets?.attemptsPerCell ?? 0)), largest };
}

/** SCH-17 */
function ofStatic(cell: StaticCell, most: number): Omit<CellProgress, 'weighed'> {
  const { injector, serialNumber, voltage, pressure, period, wanted, points, found } = cell;
  const place = { of: 'static-flow', injector, serialNumber, voltage, pressure, period, wanted, windows: points.length, advice: '' } as const;
  return { ...place, expanded: found?.expanded ?? null, least: found?.least ?? null, state: staticState(cell, most), largest: found?.largest ?? null };
}

/** SCH-16 */
function ofMap(cell: MapCell, hasRoom: boolean, measured: readonly { readonly cell: WantedCell; readonly where: { readonly pressure: number } }[]): Omit<CellProgress, 'weighed'> {
  const { injector, serialNumber, voltage, pressure, period, wanted } = cell;
  const stated = statedOf(cell);
  const own = measured.find((m) => m.cell.injector === injector && m.cell.voltage === voltage && m.where.pressure === pressure);
  const place = { of: cell.of === 'slope' ? 'map-slope' : 'map-dead-time', injector, serialNumber, voltage, pressure, period, wanted, windows: own?.cell.points ?? 0 } as const;
  if (stated === null) return { ...place, expanded: null, least: null, state: 'no-line', largest: null, advice: toMeasureAsWell(cell) };
  const state = cellState(stated, wanted, hasRoom);
  return { ...place, ...stated, state, largest: largestPart(cell), advice: state === 'beyond' ? toMeasureAsWell(cell) : '' };
}

function progress(cell: WantedCell, where: { readonly pressure: number; readonly period: number }, targets: Plan['targets']): Omit<CellProgress, 'weighed'> {
  const { injector, serialNumber, voltage, wanted, points, found } = cell;
  const place = { of: 'line', injector, serialNumber, voltage, ...where, wanted, windows: points, advice: '' } as const;
  if (found?.kind !== 'line') return { ...place, expanded: null, least: null, state: 'no-line', largest: null };
  const now = { expanded: found.deadTime.expanded, least: leastOf(found.deadTime) };
  const largest = found.shared.toSorted((a, b) => Math.abs(b.onDeadTime) - Math.abs(a.onDeadTime))[0]?.source ?? null;
  return { ...place, ...now, state: cellState(now, wanted, points < (targets?.attemptsPerCell ?? 0)), largest };
}

/** For an order by how far cells are from what is wanted of them, the farthest first. */
export const farthestFirst = (a: CellProgress, b: CellProgress): number => (b.expanded ?? Infinity) / b.wanted - (a.expanded ?? Infinity) / a.wanted;

/** In words: how many are reached, and the worst of the others. */
export function howFar(cells: readonly CellProgress[], targets?: Plan['targets']): string {
  if (targets?.spend === 'all-hours') return whatHoursBought(cells, targets);
  const missed = cells.filter((c) => c.state !== 'reached').toSorted(farthestFirst);
  const [worst] = missed;
  if (worst === undefined) return `All ${cells.length} cells are known as well as was wanted.`;
  const others = missed.length === 1 ? '' : ` (the worst of ${missed.length})`;
  const where = isOfMap(worst) ? `in the map at ${mapPlace(worst)}` : worst.of === 'static-flow' ? `at ${worst.pressure / 1e3} kPa` : `at ${worst.voltage} V`;
  return `${cells.length - missed.length} of ${cells.length} cells are known as well as was wanted. ${worst.serialNumber} ${where}${others}: ${whyNot(worst)}`;
}

/** SCH-18 */
function whatHoursBought(cells: readonly CellProgress[], targets: NonNullable<Plan['targets']>): string {
  const weighed = cells.filter((c) => c.weighed);
  const [worst] = weighed.toSorted(farthestFirst);
  const spent = weighed.some((c) => c.state === 'open') ? `The ${targets.hours} h of bench time are spent, or no window that is left would bring a cell nearer` : 'Every cell is as near as is sensible to what instruments leave, or has had its windows';
  if (worst === undefined) return `${spent}.`;
  const where = isOfMap(worst) ? `in the map at ${mapPlace(worst)}` : `at ${worst.voltage} V`;
  const now = worst.expanded === null ? 'has no value' : `U95 of the ${wantedQuantity(worst)} is ${amountOf(worst, worst.expanded)}${weighsAlike(targets) ? '' : `, ${amountOf(worst, worst.wanted)} would be its share`}`;
  return `${spent}. The worst of ${weighed.length} cells is ${worst.serialNumber} ${where}: ${now}.`;
}

const amountOf = (cell: CellProgress, value: number): string => (isRelative(cell) ? `${(100 * value).toFixed(2)} %` : microsecondsText(value));

const quantities = { line: 'dead time', slope: 'slope', 'static-flow': 'static flow', 'map-dead-time': 'dead time', 'map-slope': 'slope' } as const;

/** What is wanted of a cell. */
export const wantedQuantity = ({ of }: Pick<CellProgress, 'of'>): string => quantities[of];
/** Whether its U95 is a part of the value, and no time. */
export const isRelative = ({ of }: Pick<CellProgress, 'of'>): boolean => quantities[of] !== 'dead time';
export const isOfMap = ({ of }: Pick<CellProgress, 'of'>): boolean => of === 'map-dead-time' || of === 'map-slope';

function whyNot(cell: CellProgress): string {
  const { of, expanded, wanted, least, state, largest, windows, advice } = cell;
  const amount = (value: number): string => amountOf(cell, value);
  if (expanded === null || least === null) return of === 'static-flow' ? 'its windows give no static flow.' : advice === '' ? 'its windows give no line.' : advice;
  const now = `U95 of the ${wantedQuantity(cell)} is ${amount(expanded)}, ${amount(wanted)} was wanted`;
  switch (state) {
    case 'beyond':
      return `${now}. No sensible number of windows reaches it: ${isOfMap(cell) ? 'instruments and the curve between measured places leave' : 'instruments alone leave'} ${amount(least)}, most of it ${largest === null ? 'not told' : labelOf(largest)}.${advice === '' ? '' : ` ${advice}`}`;
    case 'used-up':
      return !isOfMap(cell) ? `${now}. It has had the ${windows} windows that targets.attemptsPerCell allows.` : `${now}. The lines that it rests on have had the windows that targets.attemptsPerCell allows.`;
    default:
      return `${now}. Nothing more is added: the bench time of targets.hours is used up, or nothing is left that would bring it nearer.`;
  }
}
