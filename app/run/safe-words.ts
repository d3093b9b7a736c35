/**
 * All that is said of a bench's safety (RUN-170). Nothing says that a bench is safe, or was made so, but these functions, and they say
 * so only of one whose read-back has confirmed it. Texts that say what will be done (being made safe, to its safe value) stand where
 * they belong; `test/house/safe-words.test.ts` reads the product for others.
 */
import type { BenchReply } from '../bench/port.ts';

/** `confirmed` of the last way to safe; null: the bench was not asked, or its answer is awaited. A clause without a full stop. */
export function safeClause(confirmed: boolean | null | undefined): string {
  if (confirmed === true) return 'the bench is safe';
  return confirmed === false
    ? 'the bench has NOT confirmed that it is safe: press its emergency stop, isolate its supply, and look before you touch anything'
    : 'the bench has NOT confirmed that it is safe';
}

/** The same as the beginning of a sentence. */
export function safeSentence(confirmed: boolean | null | undefined): string {
  const clause = safeClause(confirmed);
  return clause.charAt(0).toUpperCase() + clause.slice(1);
}

/** Where there is room for a word or two only, of a bench that has not confirmed. */
export const unconfirmedWords = 'not confirmed safe';

/** What a confirmed way to safe has shown. `rail`: the bench commands its rail, and has given its pressure up. */
const readBack = (rail: boolean): string => `supply at its safe value, disarmed${rail ? ', rail pressure given up' : ''}`;

/** What became of a way to safe outside of a run, in sentences, from the answer to `make-safe`. `rail` null: not known here. */
export function madeSafeText(reply: BenchReply, rail: boolean | null): string {
  if (reply.kind !== 'done') return `${safeSentence(false)}. ${reply.text}`;
  return rail === null ? 'The bench was made safe.' : `The bench was made safe: not pulsing, ${readBack(rail)}.`;
}

/** For the journal of a run. */
export const madeSafeInJournal = {
  confirmed: (rail: boolean): string => `Injectors off, ${readBack(rail)}: confirmed by the controller.`,
  confirmedBefore: 'The bench was confirmed safe before.',
  /** `shown`: telemetry that came after the host fell silent says pulses off, supply down and disarmed; no question was answered. */
  unconfirmed: (shown: boolean): string =>
    `The bench did not confirm that it is safe. ${deadManText()} ` +
    (shown ? 'Telemetry says pulses off, supply at its safe value, disarmed, but no question is answered any more, so how old that is cannot be told. ' : '') +
    'Press the emergency stop of the bench and look for yourself before you touch anything.',
} as const;

/** What protects a bench that no program speaks to: a promise of its controller, and no confirmation. `afterS`: the dead-man's time where it is known. */
export function deadManText(afterS?: number): string {
  return `What is left is the watchdog of its controller, which switches injectors and supply off by itself when it has heard nothing for ${afterS === undefined ? 'its time' : `${afterS} s`}.`;
}

/** What readings show after a stop; that is less than a confirmation, and does not call the bench safe. `supply`: read-back, V. */
export const stopShown = (supply: number): string => `The readings of the bench show pulses off, supply at ${supply.toFixed(2)} V, disarmed.`;
