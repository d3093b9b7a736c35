/** Attempts in words, one word for one state on every page (WIN-12). */
import type { AttemptReason, Verdict } from '../../app/journal/events.ts';

/** For maps and lists of attempts. */
export const attemptKey = (point: number, attempt: number): string => `${point}/${attempt}`;

const verdicts: Readonly<Record<Verdict, string>> = { accepted: 'accepted', rejected: 'rejected', cut: 'cut short' };

/** `verdict` null: the attempt is not over. */
export const verdictWords = (verdict: Verdict | null): string => (verdict === null ? 'going on' : verdicts[verdict]);

/** Why an attempt was made. */
export const reasonWords: Readonly<Record<AttemptReason, string>> = {
  plan: 'as planned',
  repeat: 'repeated at once',
  'second-pass': 'second pass',
  'measure-again': 'asked for by a person',
  resumed: 'again, as one was cut short',
};
