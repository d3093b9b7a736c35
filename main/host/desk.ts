/**
 * The desk: where what reads much or computes long is done, so that neither the heartbeat of the bench nor a stop ever waits
 * for a long list, an export or a check of the whole archive.
 */
import type { DeskFailure, DeskJob, DeskResults } from './desk-work.ts';

export interface Desk {
  /** Never rejects. */
  do<J extends DeskJob>(job: J): Promise<{ readonly ok: true; readonly value: DeskResults[J['kind']] } | DeskFailure>;
  /** What is under way is done first; what is asked later is answered with a failure. */
  close(): Promise<void>;
}
