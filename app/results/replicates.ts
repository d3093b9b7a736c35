/** The windows of a reduction as groups of replicates: the same injector, voltage, pressure, period and width. */
import type { Point } from '../plan/points.ts';
import type { Reduction, Source } from '../reduce/reduction.ts';

export interface Replicate extends Source {
  /** kg */
  readonly mass: number;
}

export interface ReplicateGroup {
  readonly at: Point;
  /** In the order of the points. */
  readonly replicates: readonly Replicate[];
}

/** Groups of measured points in the order in which they first appear; windows without a mass belong to none. */
export function replicateGroups({ windows }: Reduction): readonly ReplicateGroup[] {
  const groups = new Map<string, { readonly at: Point; readonly replicates: Replicate[] }>();
  for (const { at, point, attempt, outcome } of windows) {
    if (at.role !== 'measure' || outcome.kind !== 'mass') continue;
    const key = `${at.injector}|${at.voltage}|${at.pressure}|${at.period}|${at.width}`;
    const group = groups.get(key);
    const replicate = { point, attempt, mass: outcome.mass };
    if (group === undefined) groups.set(key, { at, replicates: [replicate] });
    else group.replicates.push(replicate);
  }
  return [...groups.values()];
}
