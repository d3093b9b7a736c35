/** What the list of runs shows of a run, kept up event by event: a small part of the fold, cheap enough for each commit. */
import type { Ending, RunEventBody } from '../../app/journal/events.ts';

export interface RunStatus {
  readonly events: number;
  /** Unix milliseconds of the last event; null before the first. */
  readonly lastAt: number | null;
  /** Points that the plan gave; 0 before the run was opened. */
  readonly points: number;
  readonly attempts: number;
  /** Points that have an attempt that counts. */
  readonly counting: number;
  /** null: the run is not ended and can be continued. */
  readonly ending: Ending | null;
  /** Lower-case text that the list is searched in: plan, order, serial numbers and types, a line each. */
  readonly search: string;
}

export const emptyStatus: RunStatus = { events: 0, lastAt: null, points: 0, attempts: 0, counting: 0, ending: null, search: '' };

/** Which attempt of a point counts, as a map that outlives the call. */
export interface CountingAttempts {
  get(point: number): number | undefined;
  set(point: number, attempt: number): unknown;
  delete(point: number): unknown;
}

export const searchable = (text: string): string => text.toLowerCase();

export function advance(status: RunStatus, counting: CountingAttempts, at: number, body: RunEventBody): RunStatus {
  const next = { ...status, events: status.events + 1, lastAt: at };
  switch (body.kind) {
    case 'opened': {
      const { name, order, injectors } = body.plan;
      const lines = [name, order, ...injectors.flatMap((i) => [i.serialNumber, i.type])];
      return { ...next, points: body.points, search: searchable([...new Set(lines)].join('\n')) };
    }
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
