/** Slope, dead time and masses of a line as values that can be computed on, with every error under its own name. */
import { carried, combine, randomPart, sharedPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource, labelOf } from '../uncertainty/source.ts';
import type { LineCell, WidthResult } from './reduction.ts';

/** kg/s */
export function slopeCarried({ slope, scatter, shared }: LineCell): Carried {
  return carried(slope.value, [
    ...scatter.slopeParts.map(({ source, u }) => randomPart(source, u, scatter.dof, scatter.scale)),
    ...shared.map((part) => sharedPart(part.source, part.onSlope)),
  ]);
}

/** s. The dead time is centre - height / slope: an error of the height moves it by -1 / k, one of the slope by distance / k. */
export function deadTimeCarried({ slope, deadTime, scatter, shared }: LineCell): Carried {
  return carried(deadTime.value, [
    randomPart(scatter.meanSource, -scatter.uMean / slope.value, scatter.dof, scatter.scale),
    ...scatter.slopeParts.map(({ source, u }) => randomPart(source, (scatter.distance * u) / slope.value, scatter.dof, scatter.scale)),
    ...shared.map((part) => sharedPart(part.source, part.onDeadTime)),
  ]);
}

/** Mass of the line at a width, kg: k (w - t0). */
export function lineMass({ slope, deadTime }: LineCell, width: number): number {
  return slope.value * (width - deadTime.value);
}

export function lineMassCarried(cell: LineCell, width: number): Carried {
  const [k, t0] = [cell.slope.value, cell.deadTime.value];
  return combine(lineMass(cell, width), [
    { of: slopeCarried(cell), sensitivity: width - t0 },
    { of: deadTimeCarried(cell), sensitivity: -k },
  ]);
}

/** What one standard uncertainty of an instrument does to the mass at a width, kg: it moves slope and dead time. */
function effectOnMass({ slope, deadTime }: LineCell, width: number, part: LineCell['shared'][number]): number {
  return part.onSlope * (width - deadTime.value) - slope.value * part.onDeadTime;
}

/** The scatter of the windows of one width, as an error of its own. */
export function widthScatter({ scatter: { meanSource, dof, scale } }: LineCell, { width, uMass }: WidthResult): ReturnType<typeof randomPart> {
  return randomPart(errorSource('width-mass', `${width} s of ${labelOf(meanSource)}`), uMass, dof, scale);
}

/** Measured mean mass at a width, kg, with the scatter of its own windows; the instruments move it as they move the line. RED-66. */
export function widthMassCarried(cell: LineCell, at: WidthResult): Carried {
  return carried(at.mass, [widthScatter(cell, at), ...cell.shared.map((part) => sharedPart(part.source, effectOnMass(cell, at.width, part)))]);
}
