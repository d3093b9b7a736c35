/** Short pulses: how far each width lies off the line through the long ones, for the injectors of one voltage. */
import type { LineCell, NoLineCell } from '../reduce/reduction.ts';
import type { Estimate } from './estimate.ts';
import { deviationFromLine } from './widths.ts';

export interface ShortColumn {
  readonly injector: number;
  readonly serialNumber: string;
  /** Why there is no line; empty: there is one. */
  readonly why: string;
  /** Shortest width of the linear region, s; null: no line. */
  readonly regionFrom: number | null;
  /** Shortest measured width from which on every width stays inside the limit, s; null: none does. */
  readonly insideFrom: number | null;
  /** Shortest width at and above which every width repeats within the plan's limit, s; null: `repeatableWhy` says why not. */
  readonly repeatableFrom: number | null;
  readonly repeatableWhy: string;
  /** By width: deviation from the line, percent of the line. Absent: not measured, or the line is not above zero there. */
  readonly deviations: ReadonlyMap<number, Estimate>;
}

/** `limitPercent`: inside it a width counts as usable by the line alone. */
export function shortColumns(cells: readonly (LineCell | NoLineCell)[], limitPercent: number): readonly ShortColumn[] {
  return cells.map((cell): ShortColumn => {
    const { injector, serialNumber } = cell;
    if (cell.kind === 'no-line') return { injector, serialNumber, why: cell.text, regionFrom: null, insideFrom: null, repeatableFrom: null, repeatableWhy: cell.text, deviations: new Map() };
    const deviations = new Map(
      cell.widths.flatMap((width) => {
        const deviation = deviationFromLine(cell, width);
        return deviation === null ? [] : [[width.width, deviation] as const];
      }),
    );
    return { injector, serialNumber, why: '', regionFrom: cell.region.from, insideFrom: insideFrom(cell.widths, limitPercent), ...repeatable(cell.lowestRepeatable), deviations };
  });
}

function repeatable(lowest: LineCell['lowestRepeatable']): Pick<ShortColumn, 'repeatableFrom' | 'repeatableWhy'> {
  return lowest.kind === 'width' ? { repeatableFrom: lowest.width, repeatableWhy: '' } : { repeatableFrom: null, repeatableWhy: lowest.text };
}

function insideFrom(widths: readonly { readonly width: number; readonly deviationPercent: number | null }[], limit: number): number | null {
  let from: number | null = null;
  for (const { width, deviationPercent } of [...widths].sort((a, b) => b.width - a.width)) {
    if (deviationPercent === null || Math.abs(deviationPercent) > limit) break;
    from = width;
  }
  return from;
}
