/** All tables on the user's axes. */
import type { Reduction } from '../reduce/reduction.ts';
import type { GridAxes, GridTable } from './grid.ts';
import { mapTables } from './map.ts';
import { staticFlowTables } from './other-pressure.ts';
import { shortPulseTables } from './short-pulse.ts';

/** The axes of what was measured. */
export const measuredAxes: GridAxes = { voltages: [], pressures: [], widths: [] };

/** Dead time and slope over voltage and pressure, static flow at pressures that were asked for, and the short-pulse correction over width. */
export function gridTables(reduction: Reduction, axes: GridAxes): readonly GridTable[] {
  return [...mapTables(reduction, 'dead-time', axes), ...mapTables(reduction, 'slope', axes), ...staticFlowTables(reduction, axes.pressures), ...shortPulseTables(reduction, axes.widths)];
}
