/** How steady a bench was while a run held a point, from the raw frames of its archive. */
import type { RunState } from '../../app/journal/state.ts';
import type { Point } from '../../app/plan/points.ts';
import { heldIn } from '../../app/results/held.ts';
import { stabilityOf, type Stability } from '../../app/results/stability.ts';
import type { Archive } from '../archive/archive.ts';

/** With the set point that it is told of. */
export type StabilityAt = (Extract<Stability, { kind: 'stability' }> & { readonly at: Point }) | Extract<Stability, { kind: 'no-stability' }>;

/** How steady the bench was at the set point that a run held longest without a break, over all windows of it that are long enough; `point`: at that of this point instead. */
export function stabilityOfRun(archive: Archive, id: string, state: RunState, point?: number): StabilityAt {
  const held = heldIn(state, point);
  if (held.kind === 'none') return { kind: 'no-stability', text: held.text };
  const windows = held.windows.map((w) => ({ point: w.point, attempt: w.attempt, frames: archive.windowFrames(id, w) }));
  const found = stabilityOf(windows, held.at, state.equipment, state.plan.reduction);
  return found.kind === 'stability' ? { ...found, at: held.at } : found;
}
