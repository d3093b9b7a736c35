/** Slope, dead time and mass of a line as values that can be computed on, with every error under its own name. */
import { carried, combine, randomPart, sharedPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import type { LineCell } from './reduction.ts';

/** kg/s */
export function slopeCarried({ slope, scatter, shared }: LineCell): Carried {
  return carried(slope.value, [
    [scatter.slopeSource, randomPart(scatter.uSlope, scatter.dof, scatter.scale)],
    ...shared.map((part) => [part.source, sharedPart(part.onSlope)] as const),
  ]);
}

/** s. The dead time is centre - height / slope: an error of the height moves it by -1 / k, one of the slope by distance / k. */
export function deadTimeCarried({ slope, deadTime, scatter, shared }: LineCell): Carried {
  return carried(deadTime.value, [
    [scatter.meanSource, randomPart(-scatter.uMean / slope.value, scatter.dof, scatter.scale)],
    [scatter.slopeSource, randomPart((scatter.distance * scatter.uSlope) / slope.value, scatter.dof, scatter.scale)],
    ...shared.map((part) => [part.source, sharedPart(part.onDeadTime)] as const),
  ]);
}

/** Mass of the line at a width, kg: k (w - t0). */
export function lineMassCarried(cell: LineCell, width: number): Carried {
  const [k, t0] = [cell.slope.value, cell.deadTime.value];
  return combine(k * (width - t0), [
    { of: slopeCarried(cell), sensitivity: width - t0 },
    { of: deadTimeCarried(cell), sensitivity: -k },
  ]);
}
