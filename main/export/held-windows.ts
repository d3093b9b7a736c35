/** What the raw frames of a run's windows tell of its bench: how steady it was while a point was held, and how long it took to settle. */
import type { RunState } from '../../app/journal/state.ts';
import type { Point } from '../../app/plan/points.ts';
import { seconds } from '../../app/quantities/quantity.ts';
import { heldIn, pulsedWindows } from '../../app/results/held.ts';
import { settlingOf, type Settling, type SettlingAttempt } from '../../app/results/settling.ts';
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

/** Frames before a window are looked for so much longer than the plan waits, s: pulses are seen running by a frame, and a wait ends with one. */
const longerBy = 1;

/** How long the bench of a run took to settle after the pulses of its points began (RUN-247). */
export function settlingOfRun(archive: Archive, id: string, state: RunState): Settling {
  const { plan } = state;
  const attempts = pulsedWindows(state).flatMap(({ point, attempt, at }): readonly SettlingAttempt[] => {
    const window = archive.windowFrames(id, { point, attempt });
    const [first] = window;
    if (first === undefined) return [];
    const before = archive.telemetry(id, seconds(first.at - plan.settleS - longerBy), first.at, first.bootId).filter(({ at: when, burst }) => when < first.at && burst.active && burst.number === first.burst.number);
    const [begun] = before;
    // A wait that a person skipped, or whose first frame was lost, is not that of the plan.
    if (begun === undefined || first.at - begun.at < plan.settleS - 1e-6) return [];
    return [{ voltage: at.voltage, pressure: at.pressure, period: at.period, frames: [...before, ...window] }];
  });
  return settlingOf(attempts, plan);
}
