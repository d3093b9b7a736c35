/** A table in rows and columns, as it is pasted into a controller's editor, a spreadsheet or a CSV file. TAB-10. */
import { rowsOfTable, valueIn } from './document.ts';
import type { ControllerAxis, ControllerTable } from './document.ts';
import type { ControllerLayout } from './layout.ts';

/** null: there is no value. */
type GridField = string | number | null;

export interface GridRows {
  /** One for each column; null: the layout has none. */
  readonly headings: readonly string[] | null;
  readonly rows: readonly (readonly GridField[])[];
}

const nameOf = ({ name, unit }: ControllerAxis): string => `${name}, ${unit}`;

/**
 * Breakpoints of one axis down the first column, those of the other in the headings; a curve is two columns, a number one. Without headings
 * the breakpoints that stood in them are the first row, under an empty corner.
 */
export function gridRows(table: ControllerTable, { csv }: Pick<ControllerLayout, 'csv'>): GridRows {
  const valueHeading = `${table.title}, ${table.unit}`;
  const [first, second] = table.axes;
  const values = rowsOfTable(table).map((row) => row.map(valueIn));
  if (first === undefined) return { headings: csv.headings ? [valueHeading] : null, rows: values };
  if (second === undefined) return { headings: csv.headings ? [nameOf(first), valueHeading] : null, rows: first.values.map((v, i) => [v, values[0]?.[i] ?? null]) };
  const turned = csv.down === 'second';
  const [down, across] = turned ? [second, first] : [first, second];
  const at = (i: number, j: number): number | null => (turned ? values[j]?.[i] : values[i]?.[j]) ?? null;
  const rows = down.values.map((v, i) => [v, ...across.values.map((_, j) => at(i, j))]);
  return csv.headings ? { headings: [nameOf(down), ...across.values.map((v) => `${across.name} ${v} ${across.unit}`)], rows } : { headings: null, rows: [[null, ...across.values], ...rows] };
}
