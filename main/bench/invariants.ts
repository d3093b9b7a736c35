/**
 * What must hold of a driver whatever came in (HOST-71 to HOST-75). Looked at in production: a driver that is wrong about itself makes the bench safe and asks nothing of it any more.
 * Written apart from the driver and from the words of the line alone, so that a mistake there is not made here once more.
 */
import type { BenchCapabilities, BenchReply } from '../../app/bench/port.ts';
import type { Request, Telemetry } from '../../firmware-protocol/line/messages.ts';

type Word = Request['word'];

/** What brings energy to the bench: of each of these one is under way at a time. */
const alone: ReadonlySet<Word> = new Set<Word>(['arm', 'burst']);
/** The supply counts as down as near to its safe value as this, mV. */
const downWithinMv = 500;

export class DriverInvariants {
  /** Signals of the requests that were asked and not answered. */
  readonly #underWay = new Map<Word, (AbortSignal | undefined)[]>();
  #shown: Telemetry | null = null;
  #saidUp = true;

  /** Before a frame is handed over; `bootId`: of the controller that the bench is said to have. What is broken; null: nothing. */
  frame(telemetry: Telemetry, bootId: string): string | null {
    const before = this.#shown;
    this.#shown = telemetry;
    if (telemetry.boot !== bootId) return `A frame of controller start ${telemetry.boot} was about to be taken for one of ${bootId} (HOST-71).`;
    if (before?.boot === bootId && telemetry.frame <= before.frame) return `Frame ${telemetry.frame} was about to be handed over after frame ${before.frame} (HOST-71).`;
    return null;
  }

  /** A request is about to be asked; call `answered` with the same when it was. */
  asked(word: Word, signal: AbortSignal | undefined): string | null {
    const others = this.#underWay.get(word) ?? [];
    this.#underWay.set(word, [...others, signal]);
    // One that was withdrawn is answered no more.
    return alone.has(word) && others.some((other) => other?.aborted !== true) ? `"${word}" was about to be asked for while an earlier "${word}" was unanswered (HOST-72).` : null;
  }

  answered(word: Word, signal: AbortSignal | undefined): void {
    const left = [...(this.#underWay.get(word) ?? [])];
    left.splice(left.indexOf(signal), 1);
    this.#underWay.set(word, left);
  }

  /** An answer to making safe is about to be given. What is broken; null: nothing. */
  madeSafe(reply: BenchReply, { safeSupply }: Pick<BenchCapabilities, 'safeSupply'>): string | null {
    const shown = this.#shown;
    if (reply.kind !== 'done') return null;
    if (shown === null) return 'The bench was about to be called safe without a frame of it (HOST-73).';
    const why = shown.armed ? 'armed' : shown.active ? 'pulsing' : Math.abs(shown.supplyMv - safeSupply * 1e3) > downWithinMv ? `at ${shown.supplyMv} mV` : null;
    return why === null ? null : `The bench was about to be called safe while its latest frame showed it ${why} (HOST-73).`;
  }

  /** The state of the link is about to be told. */
  link(state: 'up' | 'down'): string | null {
    if (state === 'up' && this.#saidUp) return 'The bench was about to be called connected again without having been called lost (HOST-74).';
    this.#saidUp = state === 'up';
    return null;
  }
}
