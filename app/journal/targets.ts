/** What a state says is to be measured (RUN-30). */
import type { Origin } from './events.ts';
import type { PointRecord, RunState } from './state.ts';

/**
 * The point to measure next and where the wish comes from; null when nothing is left in this pass (RUN-30): first what
 * a person asked for, then the plan from its first point without an accepted attempt, then the second pass.
 */
export function nextTarget(state: RunState): { readonly point: number; readonly origin: Origin } | null {
  const queued = state.queue[state.queueHead];
  if (queued !== undefined) return { point: queued, origin: 'measure-again' };
  if (state.planOver) return null;
  if (state.firstPass < state.points.length) return { point: state.firstPass, origin: 'first-pass' };
  const again = state.secondPassPoints[state.secondPass];
  return again === undefined ? null : { point: again, origin: 'second-pass' };
}

/** Points without an attempt that counts, that nobody left out or decided upon and that do not wait. Looks at every point. */
export function failedPoints(state: RunState): readonly number[] {
  return state.points.flatMap((point, index) => (isWithoutResult(point) && !point.waiting ? [index] : []));
}

/** Points without an attempt that counts, that nobody left out or decided upon, those of an injector that is out among them. Looks at every point. */
export function pointsWithoutResult(state: RunState): readonly number[] {
  return state.points.flatMap((point, index) => (isWithoutResult(point) ? [index] : []));
}

const isWithoutResult = ({ chosen, skipped, decided }: PointRecord): boolean => chosen === null && skipped === null && !decided;
