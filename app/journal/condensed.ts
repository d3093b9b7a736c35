/**
 * The condensed form of a journal: for readers who want to know what a run came to and not each step on the way there. It folds to the very state of the whole
 * journal (HOST-170), and is less than a third of it: of nine events of an attempt five are steps, and of the text of a journal more than half are limits that were kept.
 */
import type { RunEvent } from './events.ts';
import { foldRun } from './fold.ts';
import type { RunState } from './state.ts';

/**
 * Of events in their order, those that stand in the condensed form. A step says where an attempt is until the next one, or its end, says otherwise: it is left out where one of
 * these follows at once.
 */
export function* condensed<Event>(events: Iterable<Event>, kindOf: (event: Event) => string): Generator<Event> {
  let step: Event | undefined;
  for (const event of events) {
    const kind = kindOf(event);
    if (step !== undefined && kind !== 'step' && kind !== 'attempt-ended') yield step;
    step = undefined;
    if (kind === 'step') step = event;
    else yield event;
  }
  if (step !== undefined) yield step;
}

/** The same event; of the limits that an attempt was held against those that it did not keep. */
export function withoutLimitsKept(event: RunEvent): RunEvent {
  const { body } = event;
  return body.kind === 'attempt-ended' ? { ...event, body: { ...body, criteria: body.criteria.filter(({ passed }) => !passed) } } : event;
}

/** The state as if all events before place `seq` had been folded: those that were left out change nothing else. */
export const upToPlace = (state: RunState, seq: number): RunState => (state.revision === seq ? state : { ...state, revision: seq });

/** Folds an event of a condensed journal. Throws where it cannot follow those before it. */
export const foldCondensed = (state: RunState | null, { seq, body }: RunEvent): RunState => foldRun(state === null ? null : upToPlace(state, seq), body);
