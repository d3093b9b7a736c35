/** Masses of a run as groups of replicates: the same injector, voltage, pressure, period and width. */
import type { Point } from '../plan/points.ts';
import type { Source } from '../reduce/reduction.ts';
import type { WindowMass } from './run-results.ts';

export interface Replicate extends Source {
  /** kg */
  readonly mass: number;
}

/** One window of a run; `mass` null: it has none. */
export type OneMass = Pick<WindowMass, 'at' | 'point' | 'attempt' | 'mass'>;

export interface ReplicateGroup {
  readonly at: Point;
  /** In the order of the points. */
  readonly replicates: readonly Replicate[];
}

/** Groups of measured points in the order in which they first appear; windows without a mass belong to none. */
export function replicateGroups(masses: readonly OneMass[]): readonly ReplicateGroup[] {
  const groups = new Map<string, { readonly at: Point; readonly replicates: Replicate[] }>();
  for (const { at, point, attempt, mass } of masses) {
    if (at.role !== 'measure' || mass === null) continue;
    const key = `${at.injector}|${at.voltage}|${at.pressure}|${at.period}|${at.width}`;
    const group = groups.get(key);
    const replicate = { point, attempt, mass };
    if (group === undefined) groups.set(key, { at, replicates: [replicate] });
    else group.replicates.push(replicate);
  }
  return [...groups.values()];
}
