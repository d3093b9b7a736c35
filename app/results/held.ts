/** Windows of a run that were held long enough to tell how steady the bench is. */
import { isKept } from '../journal/fold.ts';
import type { RunState } from '../journal/state.ts';
import type { Point } from '../plan/points.ts';
import { fewestSteps } from './stability.ts';

interface PulsedWindow {
  readonly point: number;
  readonly attempt: number;
  readonly at: Point;
  /** s */
  readonly duration: number;
}

export type LongestHeld =
  /** The set point that was held longest without a break, and its windows that are long enough, the longest in any case. */
  | { readonly kind: 'held'; readonly at: Point; readonly windows: readonly PulsedWindow[] }
  | { readonly kind: 'none'; readonly text: string };

/** A step is a second at least. */
const shortestS = fewestSteps;

/** Windows of counting attempts in which an injector was pulsed as the plan says: in blind ones it was not, and a first look is judged by other rules. */
export function pulsedWindows({ points, setPoints }: RunState): readonly PulsedWindow[] {
  return points.flatMap(({ chosen, attempts }, point): readonly PulsedWindow[] => {
    const at = setPoints[point];
    const window = attempts.find((a) => a.attempt === chosen)?.window ?? null;
    if (at === undefined || chosen === null || window === null || !isKept(window) || !(at.period > 0) || at.role === 'blind' || at.role === 'look') return [];
    return [{ point, attempt: chosen, at, duration: window.to - window.from }];
  });
}

const setPointOf = ({ injector, voltage, pressure, width, period }: Point): string => [injector, voltage, pressure, width, period].join(' ');

/** `point`: the window of this point alone. */
export function heldIn(state: RunState, point?: number): LongestHeld {
  const all = pulsedWindows(state);
  const wanted = point === undefined ? all : all.filter((w) => w.point === point);
  const [first, ...others] = wanted;
  if (first === undefined) return { kind: 'none', text: point === undefined ? 'No window of this run counts.' : 'No attempt counts for this point, or it is of a kind that tells nothing of the bench.' };
  const longest = others.reduce((best, w) => (w.duration > best.duration ? w : best), first);
  const alike = (point === undefined ? all.filter((w) => setPointOf(w.at) === setPointOf(longest.at)) : wanted).filter((w) => w === longest || w.duration >= shortestS);
  return { kind: 'held', at: longest.at, windows: alike };
}

/** Another text whenever other windows tell how steady the bench is. */
export function heldKey(state: RunState): string {
  const held = heldIn(state);
  return held.kind === 'none' ? '' : held.windows.map(({ point, attempt }) => `${point}.${attempt}`).join(' ');
}
