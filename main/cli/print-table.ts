import { formatExpanded } from '../../app/quantities/format.ts';
import type { KilogramsPerSecond, Seconds } from '../../app/quantities/quantity.ts';
import { toKilopascals, toMilliseconds, pascals, seconds } from '../../app/quantities/quantity.ts';
import type { TableCell, Table } from '../../app/tables/table.ts';

function cellText(cell: TableCell, table: Table): string {
  if (cell.kind === 'missing') return `– ${cell.reason}`;
  const { value, expanded } = cell.result;
  const text =
    table.quantity === 'dead-time'
      ? formatExpanded(value as Seconds, 'ms', expanded as Seconds)
      : formatExpanded(value as KilogramsPerSecond, 'mg/ms', expanded as KilogramsPerSecond);
  // The unit stands in the title.
  return text.replace(/^\((.*)\).*$/, '$1');
}

/** What stands over everything that a run tells when it was chosen to measure out of date. */
export const notTraceableText = (reasons: readonly string[]): string => `NOT TRACEABLE. ${reasons.join(' ')}`;

/** A table for the terminal: injectors down, supply voltage across, each value with its expanded uncertainty. */
export function printTable(table: Table, notTraceable: readonly string[]): string {
  const unit = table.quantity === 'dead-time' ? 'ms' : 'mg/ms';
  const conditions = `${toKilopascals(pascals(table.pressure))} kPa, period ${toMilliseconds(seconds(table.period))} ms`;
  const rows = [
    ['', ...table.rows.map((row) => `${row.voltage} V`)],
    ...table.columns.map((column, index) => [
      column.title,
      ...table.rows.map((row) => {
        const cell = row.cells[index];
        return cell === undefined ? '' : cellText(cell, table);
      }),
    ]),
  ];
  const widths = (rows[0] ?? []).map((_, column) => Math.max(...rows.map((row) => row[column]?.length ?? 0)));
  const lines = rows.map((row) =>
    row.map((text, column) => (column === 0 ? text.padEnd(widths[0] ?? 0) : text.padStart((widths[column] ?? 0) + 2))).join(''),
  );
  const standing = notTraceable.length === 0 ? [] : [notTraceableText(notTraceable)];
  return [`${table.title}, ${unit}, at ${conditions} (± expanded uncertainty, 95 %)`, ...standing, ...lines].join('\n');
}
