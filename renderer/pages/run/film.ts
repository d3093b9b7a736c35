/**
 * A run as it was at any instant (WIN-91): the fold over its journal up to there, which is what the page showed then. States share their parts, so some of them
 * are kept on the way, and going back costs no more than going on.
 */
import type { RunEvent } from '../../../app/journal/events.ts';
import { foldRun } from '../../../app/journal/fold.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { logAfter } from './log.ts';
import type { RunLog } from './log.ts';

export interface Shot {
  /** Number of events up to the instant, 1 at least. */
  readonly count: number;
  readonly state: RunState;
  readonly log: RunLog;
}

/** Events between two states that are kept. */
const apart = 500;

export class Film {
  readonly #events: readonly RunEvent[];
  /** Of each event, ms since 1970; where the clock of the host was set back, that of the event before. */
  readonly #times: number[] = [];
  /** The n-th is that of `n * apart` events; the first is none. */
  readonly #kept: (Shot | null)[] = [null];
  #last: Shot | null = null;

  /** `events`: a journal from its first event on; it may grow in place. */
  constructor(events: readonly RunEvent[]) {
    this.#events = events;
    this.#extend();
  }

  /** ms since 1970 */
  get from(): number {
    return this.#times[0] ?? 0;
  }

  get to(): number {
    this.#extend();
    return this.#times.at(-1) ?? 0;
  }

  /** How the run stood at an instant; before its beginning as it began. The same object as long as nothing has happened. */
  at(instant: number): Shot {
    this.#extend();
    const count = Math.max(1, this.#countAt(instant));
    if (this.#last?.count !== count) this.#last = this.#after(count);
    return this.#last;
  }

  /** The begin of the attempt before or after the one that goes on at an instant; null: there is none. */
  attemptBeside(instant: number, way: 1 | -1): number | null {
    return this.#beside(instant, way, ({ body }) => body.kind === 'attempt-started');
  }

  /** When the next or the last thing before was raised that is not as it should be: a guard, a pause, an attempt that was not accepted, the end. null: there is none. */
  incidentBeside(instant: number, way: 1 | -1): number | null {
    return this.#beside(instant, way, isIncident);
  }

  /** The instants of all of them. */
  incidents(): readonly number[] {
    this.#extend();
    return this.#times.filter((_, index) => isIncident(this.#events[index]));
  }

  #beside(instant: number, way: 1 | -1, is: (event: RunEvent) => boolean): number | null {
    this.#extend();
    const count = this.#countAt(instant);
    // What is at the instant itself is neither before nor after it.
    for (let index = way === 1 ? count : count - 1; index >= 0 && index < this.#times.length; index += way) {
      const event = this.#events[index];
      const at = this.#times[index] ?? 0;
      if (event !== undefined && at !== instant && is(event)) return at;
    }
    return null;
  }

  /** Number of events up to and at an instant. */
  #countAt(instant: number): number {
    let [low, high] = [0, this.#times.length];
    while (low < high) {
      const middle = (low + high) >> 1;
      if ((this.#times[middle] ?? 0) <= instant) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  #after(count: number): Shot {
    const wanted = Math.floor(count / apart);
    while (this.#kept.length <= wanted) this.#kept.push(this.#onwards(this.#kept.at(-1) ?? null, this.#kept.length * apart));
    return this.#onwards(this.#kept[wanted] ?? null, count);
  }

  #onwards(before: Shot | null, count: number): Shot {
    if (before !== null && before.count === count) return before;
    const from = before?.count ?? 0;
    let state = before?.state ?? null;
    for (let index = from; index < count; index += 1) {
      const event = this.#events[index];
      if (event !== undefined) state = foldRun(state, event.body);
    }
    if (state === null) throw new Error('A journal has at least its first event.');
    return { count, state, log: logAfter(before?.log ?? null, this.#events, from, count) };
  }

  #extend(): void {
    for (let index = this.#times.length; index < this.#events.length; index += 1) this.#times.push(Math.max(this.#times.at(-1) ?? 0, this.#events[index]?.at ?? 0));
  }
}

function isIncident(event: RunEvent | undefined): boolean {
  switch (event?.body.kind) {
    case 'attempt-ended':
      return event.body.verdict !== 'accepted';
    case 'guard-noted':
    case 'held':
    case 'tripped':
    case 'paused':
    case 'link-lost':
    case 'ended':
      return true;
    default:
      return false;
  }
}

/** Instants that lie closer than `apartMs` as one, so that as many as can be seen are drawn. */
export function thinned(instants: readonly number[], apartMs: number): readonly number[] {
  const kept: number[] = [];
  for (const at of instants) if (at - (kept.at(-1) ?? Number.NEGATIVE_INFINITY) >= apartMs) kept.push(at);
  return kept;
}
