/** Maps over voltage and pressure as the page draws and saves them. */
import type { Basis, GridTable } from '../../../app/tables/grid.ts';
import { readValues } from '../../components/value-list.ts';
import { quantityFigure, storedFrom } from '../../settings/quantities.ts';
import { csvText } from './match-view.ts';

/** How a cell came about, told by a sign, a word and a frame, so that no colour is needed. */
export const basisMarks: Readonly<Record<Basis, { readonly sign: string; readonly word: string; readonly about: string }>> = {
  measured: { sign: '●', word: 'measured', about: 'a line was fitted at this place' },
  interpolated: { sign: '○', word: 'interpolated', about: 'between measured places' },
  estimated: { sign: '△', word: 'estimated', about: 'calculated by a law of physics from another pressure' },
  extrapolated: { sign: '◇', word: 'extrapolated', about: 'outside of the measured places: rests on how the curve goes on' },
  unresolved: { sign: '?', word: 'unresolved', about: 'the curve turns here faster than the measured places tell' },
};

/** As an export has it (CLI-17). */
const mostPlaces = 200;
/** Of a drawing that can still be read. */
const mostDrawn = 40;

export type AxisRead = { readonly ok: true; readonly values: readonly number[] } | { readonly ok: false; readonly text: string };

/**
 * An axis as a person types it, in the chosen unit of what the house has in `unit`; `factor` makes that SI. Empty: what was measured. Rising, each once. A place that is shown
 * as one that was measured is that very one: 58.0151 psi is the 400 kPa of the run.
 */
export function readAxis(text: string, factor: number, unit = '', measured: readonly number[] = []): AxisRead {
  const read = readValues(text);
  if (!read.ok) return { ok: false, text: read.text };
  const values = [...new Set(read.values.map(Number))].sort((a, b) => a - b);
  if (values.length > mostPlaces) return { ok: false, text: `An axis has ${mostPlaces} places at most.` };
  if (values.some((value) => !(value > 0))) return { ok: false, text: 'Each place must be above 0.' };
  const known = new Map(measured.map((value) => [Number(quantityFigure(value / factor, unit)), value]));
  return { ok: true, values: values.map((value) => known.get(value) ?? storedFrom(unit, value) * factor) };
}

/** Why it is not drawn; empty: it is. */
export const againstDrawing = ({ rows, columns }: GridTable): string =>
  rows.values.length > mostDrawn || columns.values.length > mostDrawn ? `The picture has at most ${mostDrawn} places each way; the table and the CSV file hold all.` : '';

/** Shade of a value from 0 (least) to 1 (most) of its map. */
export function shadeIn(table: GridTable): (value: number) => number {
  const values = table.cells.flat().flatMap((cell) => (cell.kind === 'value' ? [cell.result.value] : []));
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return (value) => (high > low ? (value - low) / (high - low) : 0.5);
}

/** The columns of maps.csv of an export, as far as a map of voltage and pressure has them. EXP-6 */
export function mapCsv(table: GridTable, run: string): string {
  // From s to ms, and from kg/s to g/s.
  const [unit, factor] = [table.siUnit === 's' ? 'ms' : 'g/s', 1e3];
  const heads = ['quantity', 'unit', 'of', 'P_ms', 'supply_V', 'pressure_kPa', 'value', 'U95', 'coverage_factor', 'basis', 'missing_because', 'run'];
  const rows = table.rows.values.flatMap((voltage, i) =>
    table.columns.values.map((pressure, j) => {
      const cell = table.cells[i]?.[j];
      const place = [table.title, unit, table.of, table.period * 1e3, voltage, pressure / 1e3];
      if (cell?.kind !== 'value') return [...place, '', '', '', '', cell?.reason ?? '', run];
      return [...place, cell.result.value * (factor), cell.result.expanded * (factor), cell.result.coverageFactor, cell.basis, '', run];
    }),
  );
  return [heads, ...rows].map((row) => row.map(csvText).join(',')).join('\r\n').concat('\r\n');
}
