/** What a new host writes into the journal of a run that it finds unfinished. */
import type { AfterSafe, RunEventBody } from '../journal/events.ts';
import type { RunState } from '../journal/state.ts';

/**
 * The events with which a new host takes over a run (RUN-80 to RUN-83): it says that it is new, cuts the attempt that
 * was going on, and sets out for the safe state; the engine that is made from the state after them carries it through.
 * Empty when there is nothing to recover: the run has ended. The state is only read; fold the events into it.
 */
export function recoverRun(state: RunState): readonly RunEventBody[] {
  if (state.mode === 'ended') return [];
  const events: RunEventBody[] = [
    {
      kind: 'host-restarted',
      text: 'The program was started again and found this run unfinished. What was accepted is kept; an attempt that was going on is measured again.',
    },
  ];
  if (state.mode === 'ready') return events;
  if (state.current !== null) {
    const { point, attempt } = state.current;
    events.push({ kind: 'attempt-ended', point, attempt, verdict: 'cut', window: null, criteria: [], text: 'The program ended while this attempt was going on.' });
  }
  events.push({ kind: 'making-safe', then: afterSafe(state), why: 'The program was started again.' });
  return events;
}

/** A trip stays latched and an end stays an end; everything else waits for a person to resume. */
function afterSafe(state: RunState): AfterSafe {
  const then = state.safe?.then;
  const atSafe = state.mode === 'making-safe' || state.mode === 'tripped';
  return atSafe && then !== undefined && (then.kind === 'tripped' || then.kind === 'ended') ? then : { kind: 'paused' };
}
