import type { Plan } from './plan.ts';

/**
 * Whether a window goes on without a purge, because its injector was the last that was driven: where windows of one injector follow each other there is no air to be driven out. So in a plan with
 * targets (RUN-230), and in one that says so (PLAN-110). `before`, `channel`: driver channels; before 0 or null: none was driven yet, or the bench rested.
 */
export const goesOnUnpurged = ({ targets, purge }: Pick<Plan, 'targets' | 'purge'>, before: number | null, channel: number): boolean =>
  (targets !== undefined || purge.when === 'injector-changes') && before === channel;
