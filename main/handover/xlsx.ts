/** The tables as a workbook: what they are, a sheet for each quantity with values and uncertainties side by side, and every number with what is known of it. TAB-15. */
import { unzipSync, zipSync } from 'fflate';
import writeXlsxFile from 'write-excel-file/node';
import type { Cell, Row, Sheet } from 'write-excel-file/node';
import type { ControllerDocument, ControllerTable } from '../../app/handover/document.ts';
import { gridRows } from '../../app/handover/grid-rows.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import type { CsvFieldValue } from '../export/csv-field.ts';
import { longRows } from './csv-tables.ts';

const sheets: readonly (readonly [quantity: ControllerTable['quantity'], name: string])[] = [
  ['dead-time', 'Dead time'],
  ['slope', 'Slope'],
  ['static-flow', 'Static flow'],
  ['short-pulse-correction', 'Short pulses'],
];

/** A text is one, whatever it begins with: nothing is a formula. The library drops U+FFFD without a word; a square stands for what cannot be shown. */
const text = (value: string): Cell => (value === '' ? null : { value: value.replaceAll('\ufffd', '\u25a1'), type: String });
const bold = (value: string): Cell => (value === '' ? null : { value: value.replaceAll('\ufffd', '\u25a1'), type: String, fontWeight: 'bold' });
const number = (value: number, format: string | null): Cell => (format === null ? { value, type: Number } : { value, type: Number, format });
const field = (value: CsvFieldValue, format: string | null = null): Cell => (typeof value === 'number' ? (Number.isFinite(value) ? number(value, format) : null) : value === null || value === undefined ? null : text(String(value)));

/** Digits that are shown: to the controller's step, else to where the smallest uncertainty ends; the number in the cell is whole. */
function formatOf({ resolution, cells }: ControllerTable): string | null {
  const least = resolution ?? Math.min(...cells.flatMap((c) => ('value' in c && c.U95 > 0 ? [c.U95 / 10] : [])));
  if (!Number.isFinite(least)) return null;
  const decimals = Math.min(9, Math.max(0, Math.ceil(-Math.log10(least) - 1e-9)));
  return decimals === 0 ? '0' : `0.${'0'.repeat(decimals)}`;
}

/** One table: its name and what holds in it, then its grid, and beside that the grid of U. */
function block(table: ControllerTable, layout: ControllerLayout): Row[] {
  const withHeadings = { csv: { ...layout.csv, headings: true } };
  const format = formatOf(table);
  const values = gridRows(table, withHeadings);
  const unsure = gridRows({ ...table, cells: table.cells.map((c) => ('value' in c ? { ...c, value: c.U95 } : c)) }, withHeadings);
  // Where there are axes the first column is the breakpoints'.
  const lead = table.axes.length > 0 ? 1 : 0;
  const grid = (row: readonly (number | string | null)[]): Cell[] => row.map((v, i) => (i < lead ? field(v) : field(v, format)));
  return [
    [table.id, table.of, table.unit, `${table.title}; ${table.conditions.map((c) => `${c.name} ${c.value} ${c.unit}`).join('; ')}; fluid ${table.fluid.name} (${table.fluid.basis})`].map(bold),
    [...(values.headings ?? []).map(bold), null, ...(unsure.headings ?? []).slice(lead).map((h) => bold(`U95 of ${h}`))],
    ...values.rows.map((row, i): Row => [...grid(row), null, ...grid(unsure.rows[i] ?? []).slice(lead)]),
    [],
  ];
}

function overview(document: ControllerDocument): Row[] {
  const { run, software, notTraceable, use, tables } = document;
  return [
    [bold('Tables for an engine controller'), text(document.layout)],
    [text('run'), text(run.id)],
    [text('order'), text(run.order)],
    [text('run began, UTC'), text(run.beganUtc)],
    [text('archive head'), text(run.archiveHead)],
    [text('made by'), text(software)],
    ...notTraceable.map((reason): Row => [bold('not traceable'), text(reason)]),
    ...use.map((line): Row => [text('use'), text(line)]),
    [],
    ['table', 'of', 'quantity', 'unit', 'step', 'between breakpoints at most', 'method'].map(bold),
    ...tables.map((t): Row => [text(t.id), text(t.of), text(t.quantity), text(t.unit), field(t.resolution), field(t.betweenBreakpoints?.most ?? null), text(t.method)]),
  ];
}

/** Bytes of the same document are the same: the archive inside has no time of its own. */
export async function xlsxFile(document: ControllerDocument, layout: ControllerLayout): Promise<Uint8Array> {
  const columns = Array.from({ length: 12 }, (_, i) => ({ width: i === 0 ? 34 : 18 }));
  const [header = [], ...long] = longRows(document);
  const pages: Sheet<never>[] = [
    { sheet: 'Overview', data: overview(document), columns },
    ...sheets.flatMap(([quantity, sheet]): Sheet<never>[] => {
      const tables = document.tables.filter((t) => t.quantity === quantity);
      return tables.length === 0 ? [] : [{ sheet, data: tables.flatMap((table) => block(table, layout)), columns }];
    }),
    { sheet: 'All numbers', data: [header.map((h) => bold(String(h))), ...long.map((row) => row.map((v) => field(v)))], columns },
  ];
  const written = await writeXlsxFile(pages).toBuffer();
  return zipSync(unzipSync(written), { mtime: '1980-01-01T00:00:00' });
}
