/** The widths of a line: measured mass, the line there, and what is left of the mass beside it. SI units. RED-66, RED-68. */
import { lineMass, widthMassCarried, widthScatter } from '../reduce/carried-line.ts';
import type { LineCell, WidthResult } from '../reduce/reduction.ts';
import { carried } from '../uncertainty/carried.ts';
import { estimateOf } from './estimate.ts';
import type { Estimate } from './estimate.ts';

export interface WidthRow {
  /** s */
  readonly width: number;
  readonly windows: number;
  /** kg, and its U95 with all parts. */
  readonly mass: Estimate;
  /** Of the line at this width, kg. */
  readonly line: number;
  /** Mass less line, percent of the line; null: the line is not above zero here. */
  readonly deviationPercent: Estimate | null;
  readonly inRegion: boolean;
}

/** Shortest width first. */
export function widthRows(cell: LineCell): readonly WidthRow[] {
  return cell.widths
    .map((width): WidthRow => {
      return {
        width: width.width,
        windows: width.windows,
        mass: estimateOf(widthMassCarried(cell, width)),
        line: lineMass(cell, width.width),
        deviationPercent: deviationFromLine(cell, width),
        inRegion: width.inRegion,
      };
    })
    .sort((a, b) => a.width - b.width);
}

/**
 * How far a width lies off the line, percent of the line; null: the line is not above zero there. Its uncertainty is the scatter of this
 * width alone: instruments move masses and line alike.
 */
export function deviationFromLine(cell: LineCell, width: WidthResult): Estimate | null {
  if (width.deviationPercent === null) return null;
  const { u95 } = estimateOf(carried(0, [widthScatter(cell, width)]));
  return { value: width.deviationPercent, u95: u95 === null ? null : (100 * u95) / lineMass(cell, width.width) };
}
