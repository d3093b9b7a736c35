/** Making safe: asked for until the bench shows it and says it, or the time is over. */
import type { BenchCapabilities, BenchFrame, BenchReply } from '../../app/bench/port.ts';
import { volts } from '../../app/quantities/quantity.ts';
import { deadManText } from '../../app/run/safe-words.ts';
import type { Request } from '../../firmware-protocol/line/messages.ts';
import type { Clock } from '../clock/clock.ts';
import type { LinkAnswer } from '../link/link.ts';

/** From the request to the telemetry frame that proves it, with the supply running down. */
export const MAKE_SAFE_DEADLINE_MS = 5000;
/** An answer that took longer than this, by either clock, is none about now: the computer may have been suspended before it was read. */
const FRESH_ANSWER_MS = 2000;
/** How near the supply must be to its safe value to be called safe. */
const SAFE_SUPPLY_TOLERANCE = volts(0.5);

/** What making safe needs of the driver. */
interface SafePort {
  readonly clock: Clock;
  readonly capabilities: BenchCapabilities;
  readonly deadManMs: number;
  /** An answer that is asked for with less than this left would come too late. */
  readonly replyTimeoutMs: number;
  /** Why the bench is not connected; null: it is. */
  readonly downReason: () => string | null;
  readonly isClosed: () => boolean;
  readonly ask: (request: Request, signal: AbortSignal | undefined, deadlineMs: number) => Promise<LinkAnswer>;
  /** Resolves with true as soon as a frame (or a change of the link: null) fulfils `condition`; false after `ms`. */
  readonly until: (condition: (frame: BenchFrame | null) => boolean, ms: number, signal: AbortSignal | undefined) => Promise<boolean>;
}

/** Tries for as long as the deadline lasts, over a link that comes back in between too. */
export async function makeSafe(port: SafePort, signal: AbortSignal | undefined): Promise<BenchReply> {
  const { clock } = port;
  const deadline = clock.now() + MAKE_SAFE_DEADLINE_MS;
  const left = () => deadline - clock.now();
  const isWithdrawn = () => signal?.aborted === true || port.isClosed();
  let why = port.downReason() ?? '';
  let shown = false;
  // An answer to what is asked in the last instant would come too late.
  while (left() >= port.replyTimeoutMs && !isWithdrawn()) {
    if (port.downReason() !== null) {
      await port.until(() => port.downReason() === null, left(), signal);
      why = port.downReason() ?? why;
      continue;
    }
    const answer = await port.ask({ word: 'safe' }, signal, left());
    if (answer.kind === 'refused') return answer;
    if (answer.kind === 'no-answer') {
      why = answer.text;
      continue;
    }
    if (!shown) why = 'Its telemetry does not show it.';
    if (!(await port.until((frame) => frame !== null && isSafe(frame, port.capabilities), left(), signal))) continue;
    shown = true;
    const doubt = await doubtAfterAll(port, left(), signal);
    if (doubt === null) return { kind: 'done' };
    why = doubt;
  }
  return {
    kind: 'no-answer',
    text: `${isWithdrawn() ? 'Making safe was withdrawn before it was confirmed.' : `It was not confirmed within ${MAKE_SAFE_DEADLINE_MS / 1000} s. ${why}`} ${deadManText(port.deadManMs / 1000)}`,
  };
}

/**
 * The last question of making safe, put after everything else was seen; null: the bench is there now, and has given up its
 * rail pressure (LINE-88), else why not. What a computer reads after it was suspended is as old as its sleep, and its
 * monotonic clock says nothing of that; the wall clock does. One that was set meanwhile costs another question.
 */
async function doubtAfterAll({ clock, capabilities: { rail }, ask }: SafePort, deadlineMs: number, signal: AbortSignal | undefined): Promise<string | null> {
  const asked = { now: clock.now(), unix: clock.unixNow() };
  const answer = await ask(rail === undefined ? { word: 'alive' } : { word: 'rail' }, signal, Math.max(1, deadlineMs));
  if (answer.kind === 'no-answer') return answer.text;
  if (Math.max(clock.now() - asked.now, Math.abs(clock.unixNow() - asked.unix)) > FRESH_ANSWER_MS) {
    return 'Its last answer was read so late that it says nothing of now: this computer stood still meanwhile.';
  }
  if (rail === undefined) return null;
  const { reply } = { reply: null, ...answer };
  const givenUp = reply?.word === 'rail' && !reply.pumping && !reply.keeping && !reply.shut && (!rail.relief || reply.relieved);
  return givenUp ? null : 'It does not say that pump and relief valve are off.';
}

function isSafe(frame: BenchFrame, { safeSupply }: BenchCapabilities): boolean {
  return !frame.armed && !frame.burst.active && Math.abs(frame.supply - safeSupply) <= SAFE_SUPPLY_TOLERANCE;
}
