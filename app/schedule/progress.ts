/** How far the cells of a run are from what its plan wants, and what stands in the way. */
import type { Plan } from '../plan/plan.ts';
import { labelOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { blockOf, microsecondsText } from './cells.ts';
import type { SoFar, WantedCell } from './cells.ts';
import { largestPart, mapCellsOf, statedOf, toMeasureAsWell } from './map-cells.ts';
import type { MapCell } from './map-cells.ts';
import { isReachable } from './refine.ts';
import { mapPlace, mapStanding } from './refine-map.ts';

/** Of one cell. Seconds; of a map of slopes relative. */
export interface CellProgress {
  /** A measured dead time, or a cell of the map that the plan wants. */
  readonly of: 'line' | 'map-dead-time' | 'map-slope';
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
}

/** Every cell that the plan wants of the injectors that are in the run. */
export function progressOf(soFar: SoFar, reduction: Reduction | null): readonly CellProgress[] {
  const { axes, targets } = soFar.plan;
  const measured = axes.pressureKpa.flatMap((pressure) => axes.periodMs.flatMap((period) => blockOf(soFar, reduction, pressure, period).cells.map((cell) => ({ cell, where: { pressure: pressure * 1e3, period: period / 1e3 } }))));
  const wanted = measured.filter(({ cell }) => Number.isFinite(cell.wanted)).map(({ cell, where }) => progress(cell, where, targets));
  const hasRoom = new Set(measured.filter(({ cell }) => cell.points < (targets?.attemptsPerCell ?? 0)).map(({ cell }) => cell.injector));
  return [...wanted, ...mapCellsOf(soFar, reduction).map((cell) => ofMap(cell, hasRoom.has(cell.injector), measured))];
}

/** SCH-16 */
function ofMap(cell: MapCell, hasRoom: boolean, measured: readonly { readonly cell: WantedCell; readonly where: { readonly pressure: number } }[]): CellProgress {
  const { injector, serialNumber, voltage, pressure, period, wanted } = cell;
  const stated = statedOf(cell);
  const standing = mapStanding(cell);
  const own = measured.find((m) => m.cell.injector === injector && m.cell.voltage === voltage && m.where.pressure === pressure);
  const place = { of: cell.of === 'slope' ? 'map-slope' : 'map-dead-time', injector, serialNumber, voltage, pressure, period, wanted, windows: own?.cell.points ?? 0 } as const;
  if (stated === null || standing === 'missing') return { ...place, expanded: null, least: null, state: 'no-line', largest: null, advice: toMeasureAsWell(cell) };
  const state = standing === 'open' && !hasRoom ? 'used-up' : standing;
  return { ...place, ...stated, state, largest: largestPart(cell), advice: state === 'beyond' ? toMeasureAsWell(cell) : '' };
}

function progress(cell: WantedCell, where: { readonly pressure: number; readonly period: number }, targets: Plan['targets']): CellProgress {
  const { injector, serialNumber, voltage, wanted, points, found } = cell;
  const place = { of: 'line', injector, serialNumber, voltage, ...where, wanted, windows: points, advice: '' } as const;
  if (found?.kind !== 'line') return { ...place, expanded: null, least: null, state: 'no-line', largest: null };
  const { expanded, uShared, coverageFactor } = found.deadTime;
  const state = expanded <= wanted ? 'reached' : !isReachable(cell) ? 'beyond' : points >= (targets?.attemptsPerCell ?? 0) ? 'used-up' : 'open';
  const largest = found.shared.toSorted((a, b) => Math.abs(b.onDeadTime) - Math.abs(a.onDeadTime))[0]?.source ?? null;
  return { ...place, expanded, least: uShared * coverageFactor, state, largest };
}

/** In words: how many are reached, and the worst of the others. */
export function howFar(cells: readonly CellProgress[]): string {
  const missed = cells.filter((c) => c.state !== 'reached').toSorted((a, b) => (b.expanded ?? Infinity) / b.wanted - (a.expanded ?? Infinity) / a.wanted);
  const [worst] = missed;
  if (worst === undefined) return `All ${cells.length} cells are known as well as was wanted.`;
  const others = missed.length === 1 ? '' : ` (the worst of ${missed.length})`;
  const where = worst.of === 'line' ? `at ${worst.voltage} V` : `in the map at ${mapPlace(worst)}`;
  return `${cells.length - missed.length} of ${cells.length} cells are known as well as was wanted. ${worst.serialNumber} ${where}${others}: ${whyNot(worst)}`;
}

/** As it is wanted, of what. */
export const wantedQuantity = (of: CellProgress['of']): string => (of === 'map-slope' ? 'slope' : 'dead time');
const amountText = (of: CellProgress['of'], value: number): string => (of === 'map-slope' ? `${(100 * value).toFixed(2)} %` : microsecondsText(value));

function whyNot({ of, expanded, wanted, least, state, largest, windows, advice }: CellProgress): string {
  if (expanded === null || least === null) return of === 'line' || advice === '' ? 'its windows give no line.' : advice;
  const now = `U95 of the ${wantedQuantity(of)} is ${amountText(of, expanded)}, ${amountText(of, wanted)} was wanted`;
  switch (state) {
    case 'beyond':
      return `${now}. No sensible number of windows reaches it: ${of === 'line' ? 'instruments alone leave' : 'instruments and the curve between measured places leave'} ${amountText(of, least)}, most of it ${largest === null ? 'not told' : labelOf(largest)}.${advice === '' ? '' : ` ${advice}`}`;
    case 'used-up':
      return of === 'line' ? `${now}. It has had the ${windows} windows that targets.attemptsPerCell allows.` : `${now}. The lines that it rests on have had the windows that targets.attemptsPerCell allows.`;
    default:
      return `${now}. Nothing more is added: the bench time of targets.hours is used up, or nothing is left that would bring it nearer.`;
  }
}
