/** Windows of a run that were held long enough to tell how steady the bench is, with their raw frames. */
import { isKept } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Point } from '../../app/plan/points.ts';
import { fewestSteps, stabilityOf, type Stability } from '../../app/results/stability.ts';
import type { Archive } from '../archive/archive.ts';

interface Held {
  readonly point: number;
  readonly attempt: number;
  readonly at: Point;
  readonly duration: number;
}

/** A step is a second at least. */
const shortestS = fewestSteps;

/** Windows of counting attempts in which an injector was pulsed as the plan says: in blind ones it was not, and a first look is judged by other rules. */
function heldWindows({ points, setPoints }: RunState): readonly Held[] {
  return points.flatMap(({ chosen, attempts }, point): readonly Held[] => {
    const at = setPoints[point];
    const window = attempts.find((a) => a.attempt === chosen)?.window ?? null;
    if (at === undefined || chosen === null || window === null || !isKept(window) || !(at.period > 0) || at.role === 'blind' || at.role === 'look') return [];
    return [{ point, attempt: chosen, at, duration: window.to - window.from }];
  });
}

const setPointOf = ({ injector, voltage, pressure, width, period }: Point): string => [injector, voltage, pressure, width, period].join(' ');

/** With the set point that it is told of. */
export type StabilityAt = (Extract<Stability, { kind: 'stability' }> & { readonly at: Point }) | Extract<Stability, { kind: 'no-stability' }>;

/** How steady the bench was at the set point that a run held longest without a break, over all windows of it that are long enough; `point`: at that of this point instead. */
export function stabilityOfRun(archive: Archive, id: string, state: RunState, point?: number): StabilityAt {
  const all = heldWindows(state);
  const wanted = point === undefined ? all : all.filter((w) => w.point === point);
  const [first, ...others] = wanted;
  if (first === undefined) return { kind: 'no-stability', text: point === undefined ? 'No window of this run counts.' : 'No attempt counts for this point, or it is of a kind that tells nothing of the bench.' };
  const longest = others.reduce((best, w) => (w.duration > best.duration ? w : best), first);
  const alike = (point === undefined ? all.filter((w) => setPointOf(w.at) === setPointOf(longest.at)) : wanted).filter((w) => w === longest || w.duration >= shortestS);
  const windows = alike.map((w) => ({ point: w.point, attempt: w.attempt, frames: archive.windowFrames(id, w) }));
  const found = stabilityOf(windows, longest.at, state.equipment, state.plan.reduction);
  return found.kind === 'stability' ? { ...found, at: longest.at } : found;
}
