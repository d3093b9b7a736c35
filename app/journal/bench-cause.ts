/** Causes of rejected attempts that no injector explains: the bench is at fault, and an injector must not be blamed for it (RUN-165). */
const benchCauses: ReadonlySet<string> = new Set([
  'supply-not-reached', 'condition-not-reached', 'purge-cut', 'pulses-ended', 'controller-reset', 'other-burst', 'too-few-frames',
  // Frames missing, pulses not those that were due, too many frames, readings that stand.
  'RUN-68', 'RUN-69', 'RUN-162', 'RUN-163',
  // Other refusals of a burst may be for the coil that hangs there.
  'refused-width-not-kept', 'refused-burst-not-kept',
]);

export const isBenchCause = (cause: string): boolean => benchCauses.has(cause) || /^(supply-refused|pressure-refused|telemetry)-/.test(cause);
