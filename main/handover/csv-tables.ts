/** The tables as CSV (RFC 4180): a grid for each, to be loaded as it is, and one file of all with everything that is known of each number. TAB-10, TAB-11. */
import { stringify } from 'csv-stringify/sync';
import type { ControllerCell, ControllerDocument, ControllerTable } from '../../app/handover/document.ts';
import { gridRows } from '../../app/handover/grid-rows.ts';
import { separatorOf, withDecimalSign } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { csvField, type CsvFieldValue } from '../export/csv-field.ts';
import type { FileToWrite } from '../export/files.ts';

export const gridFileOf = ({ id }: ControllerTable): string => `grid-${id}.csv`;
/** What an earlier hand-over may have put into the folder. */
export const isGridFile = (name: string): boolean => /^grid-\w+\.csv$/u.test(name);

const lines = (rows: readonly (readonly CsvFieldValue[])[], delimiter: string, written = csvField): string => stringify(rows.map((row) => row.map(written)), { record_delimiter: 'windows', delimiter });

export const gridFiles = ({ tables }: ControllerDocument, layout: ControllerLayout): FileToWrite[] =>
  tables.map((table) => {
    const { headings, rows } = gridRows(table, layout);
    const written = (field: CsvFieldValue): string => (typeof field === 'number' ? withDecimalSign(csvField(field), layout) : csvField(field));
    return { name: gridFileOf(table), pieces: [lines(headings === null ? rows : [headings, ...rows], separatorOf(layout), written)] };
  });

interface CellOfTable {
  readonly table: ControllerTable;
  readonly at: readonly number[];
  readonly cell: ControllerCell;
}

const valued = ({ cell }: CellOfTable) => ('value' in cell ? cell : null);

export const longColumns: Readonly<Record<string, { readonly type: 'string' | 'number'; readonly of: (row: CellOfTable, document: ControllerDocument) => CsvFieldValue }>> = {
  table: { type: 'string', of: (r) => r.table.id },
  quantity: { type: 'string', of: (r) => r.table.quantity },
  of: { type: 'string', of: (r) => r.table.of },
  unit: { type: 'string', of: (r) => r.table.unit },
  first_axis: { type: 'string', of: (r) => r.table.axes[0]?.name },
  first_unit: { type: 'string', of: (r) => r.table.axes[0]?.unit },
  first_value: { type: 'number', of: (r) => r.at[0] },
  second_axis: { type: 'string', of: (r) => r.table.axes[1]?.name },
  second_unit: { type: 'string', of: (r) => r.table.axes[1]?.unit },
  second_value: { type: 'number', of: (r) => r.at[1] },
  value: { type: 'number', of: (r) => valued(r)?.value },
  unrounded: { type: 'number', of: (r) => valued(r)?.unrounded },
  U95: { type: 'number', of: (r) => valued(r)?.U95 },
  coverage_factor: { type: 'number', of: (r) => valued(r)?.k },
  effective_dof: { type: 'number', of: (r) => valued(r)?.dof },
  basis: { type: 'string', of: (r) => valued(r)?.basis },
  missing_because: { type: 'string', of: ({ cell }) => ('missing' in cell ? cell.missing : null) },
  conditions: { type: 'string', of: (r) => r.table.conditions.map((c) => `${c.name} ${c.value} ${c.unit}`).join('; ') },
  fluid: { type: 'string', of: (r) => r.table.fluid.name },
  fluid_basis: { type: 'string', of: (r) => r.table.fluid.basis },
  run: { type: 'string', of: (_, d) => d.run.id },
  order: { type: 'string', of: (_, d) => d.run.order },
  run_began_utc: { type: 'string', of: (_, d) => d.run.beganUtc },
  archive_head: { type: 'string', of: (_, d) => d.run.archiveHead },
  not_traceable: { type: 'string', of: (_, d) => d.notTraceable.join(' ') },
};

export const longFileName = 'tables.csv';

/** A header, and a row for each cell of each table. */
export function longRows(document: ControllerDocument): readonly (readonly CsvFieldValue[])[] {
  const columns = Object.values(longColumns);
  const rows = document.tables.flatMap((table) =>
    table.cells.map((cell, i) => {
      const across = table.axes.at(-1)?.values ?? [];
      const at = table.axes.length === 2 ? [table.axes[0]?.values[Math.floor(i / across.length)] ?? Number.NaN, across[i % across.length] ?? Number.NaN] : across.length > 0 ? [across[i] ?? Number.NaN] : [];
      return columns.map((column) => column.of({ table, at, cell }, document));
    }),
  );
  return [Object.keys(longColumns), ...rows];
}

export const longFile = (document: ControllerDocument): FileToWrite => ({ name: longFileName, pieces: [lines(longRows(document), ',')] });
