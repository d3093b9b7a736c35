/** Steps that can be taken back, the latest first to go. WIN-31 */

export interface Step<T> {
  /** How it was before. */
  readonly before: T;
  /** What the step was, for the button that takes it back. */
  readonly what: string;
  /** Steps that follow each other with the same mark are one (letters typed into one field); empty: this one stands alone. */
  readonly mark: string;
}

const mostSteps = 100;

export function withStep<T>(steps: readonly Step<T>[], step: Step<T>): readonly Step<T>[] {
  const last = steps.at(-1);
  if (last !== undefined && step.mark !== '' && last.mark === step.mark) return steps;
  return [...steps, step].slice(-mostSteps);
}
