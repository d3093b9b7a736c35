/**
 * What lists show of a run: a small part of its state (RUN-184). It can be kept up from event to event without the rest, cheap enough
 * for each commit to an archive; `outlineOf` says it of a whole state, and the two say the same.
 */
import type { Plan } from '../plan/plan.ts';
import type { Ending, RunEvent } from './events.ts';
import type { RunState } from './state.ts';

export interface Outline {
  readonly events: number;
  /** Unix milliseconds of the last event; null before the first. */
  readonly lastAt: number | null;
  /** Points of the run; 0 before it was opened. */
  readonly points: number;
  readonly attempts: number;
  /** Points that have an attempt that counts. */
  readonly counting: number;
  /** null: the run is not ended and can be continued. */
  readonly ending: Ending | null;
  /** Lower-case text that the list is searched in: plan, order, serial numbers and types, a line each. */
  readonly search: string;
}

export const emptyOutline: Outline = { events: 0, lastAt: null, points: 0, attempts: 0, counting: 0, ending: null, search: '' };

/** Which attempt of a point counts, as a map that outlives the call. */
export interface CountingAttempts {
  get(point: number): number | undefined;
  set(point: number, attempt: number): unknown;
  delete(point: number): unknown;
}

export const searchable = (text: string): string => text.toLowerCase();

function searchOf({ name, order, injectors }: Pick<Plan, 'name' | 'order' | 'injectors'>): string {
  const lines = [name, order, ...injectors.flatMap((i) => [i.serialNumber, i.type])];
  return searchable([...new Set(lines)].join('\n'));
}

/** The outline of a whole state whose last event was written at `lastAt`. */
export function outlineOf(state: RunState, lastAt: number): Outline {
  return {
    events: state.revision, lastAt, points: state.points.length, attempts: state.counts.attempts, counting: state.counts.accepted, ending: state.ending, search: searchOf(state.plan),
  };
}

/** The outline with one event more. */
export function outlined(outline: Outline, counting: CountingAttempts, { at, body }: Pick<RunEvent, 'at' | 'body'>): Outline {
  const next = { ...outline, events: outline.events + 1, lastAt: at };
  switch (body.kind) {
    case 'opened':
      return { ...next, points: body.points, search: searchOf(body.plan) };
    case 'points-added':
      return { ...next, points: next.points + body.points.length };
    case 'attempt-ended':
      return { ...next, attempts: next.attempts + 1 };
    case 'chosen': {
      const before = counting.get(body.point) === undefined ? 0 : 1;
      if (body.attempt === null) counting.delete(body.point);
      else counting.set(body.point, body.attempt);
      return { ...next, counting: next.counting - before + (body.attempt === null ? 0 : 1) };
    }
    case 'ended':
      return { ...next, ending: body.ending };
    case 'reopened':
      return { ...next, ending: null };
    default:
      return next;
  }
}
