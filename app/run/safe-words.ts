/**
 * All that is said of a bench's safety (RUN-170). Nothing says that a bench is safe, or was made so, but this function, and it says so
 * only of one whose read-back has confirmed it.
 */

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
