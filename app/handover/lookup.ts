/** What a controller does with a table: linear between its breakpoints, the end value beyond them. TAB-9. */
import { valueIn } from './document.ts';
import type { ControllerTable } from './document.ts';

/** Place on an axis: the breakpoint before, and the part of the way to the next. */
function placeOn(values: readonly number[], x: number): { readonly i: number; readonly part: number } {
  const last = values.length - 1;
  if (last < 1 || x <= (values[0] ?? 0)) return { i: 0, part: 0 };
  if (x >= (values[last] ?? 0)) return { i: last - 1, part: 1 };
  const next = values.findIndex((v) => v > x);
  const [a, b] = [values[next - 1] ?? 0, values[next] ?? 0];
  return { i: next - 1, part: (x - a) / (b - a) };
}

/** The value at a place, one number for each axis of the table, in its units; null: a cell that it needs is missing. */
export function lookUp(table: Pick<ControllerTable, 'axes' | 'cells'>, at: readonly number[], read: (cell: ControllerTable['cells'][number]) => number | null = valueIn): number | null {
  const [first, second] = table.axes;
  const cellAt = (index: number): number | null => {
    const cell = table.cells[index];
    return cell === undefined ? null : read(cell);
  };
  const along = (base: number, axis: readonly number[], x: number, step: number): number | null => {
    const { i, part } = placeOn(axis, x);
    const low = cellAt(base + i * step);
    if (part === 0 || low === null) return low;
    const high = cellAt(base + (i + 1) * step);
    return high === null ? null : low + part * (high - low);
  };
  if (first === undefined) return cellAt(0);
  if (second === undefined) return along(0, first.values, at[0] ?? Number.NaN, 1);
  const width = second.values.length;
  const { i, part } = placeOn(first.values, at[0] ?? Number.NaN);
  const low = along(i * width, second.values, at[1] ?? Number.NaN, 1);
  if (part === 0 || low === null) return low;
  const high = along((i + 1) * width, second.values, at[1] ?? Number.NaN, 1);
  return high === null ? null : low + part * (high - low);
}
