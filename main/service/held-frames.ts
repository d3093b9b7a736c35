/** Which frames are stored with a commit (RUN-221). */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { RunEventBody } from '../../app/journal/events.ts';

/** Frames of quiet times (a pause, a long wait) are stored at least this often. */
export const MOST_FRAMES_HELD = 1000;
/** What is committed while an attempt goes on. Frames wait for its end: one chunk for an attempt is half the work of one for each of its steps, and a quarter of the rows. */
const withinAnAttempt: ReadonlySet<RunEventBody['kind']> = new Set<RunEventBody['kind']>(['attempt-started', 'step']);

/** Of those that wait: all up to now, or none yet, where an attempt only comes to its next step. */
export function framesFor(events: readonly RunEventBody[], waiting: readonly BenchFrame[]): readonly BenchFrame[] {
  const goesOn = events.length > 0 && events.every(({ kind }) => withinAnAttempt.has(kind));
  return goesOn && waiting.length < MOST_FRAMES_HELD ? [] : waiting;
}
