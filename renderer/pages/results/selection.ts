/** What of a run is looked at: pressure and period, injector, voltage; whatever was chosen before, it is there. */
import { cellsAt, conditionsOf, voltagesOf, widthsOf } from './results.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import type { Condition, ResultCell } from './results.ts';

/** null: not chosen yet. */
export interface Wish {
  readonly condition: string | null;
  readonly injector: number | null;
  readonly voltage: number | null;
  readonly width: number | null;
}

export const noWish: Wish = { condition: null, injector: null, voltage: null, width: null };

export interface Selection {
  readonly conditions: readonly Condition[];
  readonly condition: Condition;
  /** All of the condition. */
  readonly cells: readonly ResultCell[];
  readonly injectors: readonly { readonly index: number; readonly serialNumber: string }[];
  readonly voltages: readonly number[];
  readonly widths: readonly number[];
  readonly injector: number;
  readonly voltage: number;
  readonly width: number;
  /** The one of that injector and voltage. */
  readonly cell: ResultCell;
}

/** The nominal battery of a vehicle that runs: what people look at first. */
const usualVolts = 14;

const knownWidths = new WeakMap<RunResults, readonly number[]>();
/** Looked for once in the results of a run: their points are thousands. */
function widthsIn(results: RunResults): readonly number[] {
  const widths = knownWidths.get(results) ?? widthsOf(results);
  knownWidths.set(results, widths);
  return widths;
}

/** null: the plan has nothing that is measured. */
export function selectionOf(results: RunResults, wish: Wish): Selection | null {
  const conditions = conditionsOf(results);
  const condition = conditions.find((one) => one.key === wish.condition) ?? conditions[0];
  if (condition === undefined) return null;
  const cells = cellsAt(results, condition);
  const voltages = voltagesOf(cells);
  const widths = widthsIn(results);
  const injectors = [...new Map(cells.map((cell) => [cell.injector, cell.serialNumber]))].map(([index, serialNumber]) => ({ index, serialNumber }));
  const injector = injectors.find((one) => one.index === wish.injector)?.index ?? injectors[0]?.index ?? 0;
  const voltage = voltages.find((one) => one === wish.voltage) ?? nearest(voltages, usualVolts);
  const width = widths.find((one) => one === wish.width) ?? widths[Math.floor(widths.length / 2)] ?? 0;
  const cell = cells.find((one) => one.injector === injector && one.voltage === voltage) ?? cells[0];
  return cell === undefined ? null : { conditions, condition, cells, injectors, voltages, widths, injector, voltage, width, cell };
}

function nearest(values: readonly number[], to: number): number {
  return values.reduce((best, value) => (Math.abs(value - to) < Math.abs(best - to) ? value : best), values[0] ?? to);
}
