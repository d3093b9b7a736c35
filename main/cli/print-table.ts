import { formatExpanded } from '../../app/quantities/format.ts';
import type { KilogramsPerSecond, Seconds } from '../../app/quantities/quantity.ts';
import { toKilopascals, toMilliseconds, pascals, seconds } from '../../app/quantities/quantity.ts';
import type { TableCell, Table } from '../../app/tables/table.ts';
import { wrapped } from './say.ts';

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

/** Between two columns. */
const GAP = 2;

/**
 * Columns as wide as their widest text, in lines of at most `width`: what does not fit beside the first column follows below, under the
 * first column again (CLI-14). `side`: where texts stand in their column; the first stands to the left always.
 */
export function columnLines(rows: readonly (readonly string[])[], side: 'left' | 'right', width: number): readonly string[] {
  const widths = (rows[0] ?? []).map((_, column) => Math.max(...rows.map((row) => row[column]?.length ?? 0)));
  const first = widths[0] ?? 0;
  const parts: number[][] = [];
  let taken = 0;
  for (let column = 1; column < widths.length; column += 1) {
    const wide = GAP + (widths[column] ?? 0);
    const part = parts.at(-1);
    if (part === undefined || first + taken + wide > width) {
      parts.push([column]);
      taken = wide;
    } else {
      part.push(column);
      taken += wide;
    }
  }
  const line = (row: readonly string[], part: readonly number[]): string =>
    [0, ...part]
      .map((column) => {
        const [text, wide] = [row[column] ?? '', widths[column] ?? 0];
        return column === 0 ? text.padEnd(wide) : `${' '.repeat(GAP)}${side === 'left' ? text.padEnd(wide) : text.padStart(wide)}`;
      })
      .join('')
      .trimEnd();
  return parts.flatMap((part, i) => [...(i === 0 ? [] : ['']), ...rows.map((row) => line(row, part))]);
}

/** A table for the terminal: injectors down, supply voltage across, each value with its expanded uncertainty. */
export function tableLines(table: Table, notTraceable: readonly string[], width: number): readonly string[] {
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
  const standing = notTraceable.length === 0 ? [] : [notTraceableText(notTraceable)];
  return [...[`${table.title}, ${unit}, at ${conditions} (± expanded uncertainty, 95 %)`, ...standing].flatMap((text) => wrapped(text, width)), ...columnLines(rows, 'right', width)];
}
