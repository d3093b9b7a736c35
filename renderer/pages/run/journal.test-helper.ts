/** Journals for the tests of the run page: a small plan, and events folded as the window folds them. */
import { expandPlan } from '../../../app/plan/expand.ts';
import { parsePlan } from '../../../app/plan/parse.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { unixMillis } from '../../../app/quantities/quantity.ts';
import type { RunEvent, RunEventBody } from '../../../app/journal/events.ts';
import { foldRun } from '../../../app/journal/fold.ts';
import type { RunState } from '../../../app/journal/state.ts';

export function planOf(changes: Record<string, unknown> = {}): Plan {
  const parsed = parsePlan({
    planVersion: 1,
    zero: { windowS: 0 },
    pair: { windows: 0 },
    look: { windowS: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    name: 'Plan of a test',
    injectors: [
      { serialNumber: 'A1', type: 'T', channel: 1 },
      { serialNumber: 'A2', type: 'T', channel: 2 },
    ],
    axes: { voltageV: [14, 10], pressureKpa: [400, 300], widthMs: [5, 3, 8], periodMs: [20], replicates: 2 },
    guards: [{ id: 'rail', signal: 'pressure-deviation-kpa', low: -12, high: 12, level: 'hold' }],
    ...changes,
  });
  if (!parsed.ok) throw new Error(parsed.problems.map(({ path, text }) => `${path}: ${text}`).join(' '));
  return parsed.plan;
}

export interface Journal {
  readonly plan: Plan;
  readonly points: readonly Point[];
  readonly events: readonly RunEvent[];
  readonly state: RunState;
}

/** One event a second, from second 0. */
export function journalOf(plan: Plan, bodies: readonly RunEventBody[]): Journal {
  const points = expandPlan(plan);
  // Equipment does not matter to what these tests look at.
  const opened = { kind: 'opened', plan, equipment: {}, operator: 'Operator', software: 'test', points: points.length } as unknown as RunEventBody;
  const events = [opened, ...bodies].map((body, seq) => ({ seq, at: unixMillis(seq * 1000), body }));
  let state: RunState | null = null;
  for (const { body } of events) state = foldRun(state, body);
  if (state === null) throw new Error('A journal has at least its first event.');
  return { plan, points, events, state };
}

export const started = (point: number, attempt = 1): RunEventBody => ({ kind: 'attempt-started', point, attempt, reason: 'plan' });
export const ended = (point: number, verdict: 'accepted' | 'rejected' | 'cut', attempt = 1): RunEventBody => ({
  kind: 'attempt-ended', point, attempt, verdict, window: null, criteria: [{ rule: 'RUN-62', passed: verdict === 'accepted', text: 'a limit' }], text: '',
});
export const accepted = (point: number, attempt = 1): readonly RunEventBody[] => [
  started(point, attempt),
  ended(point, 'accepted', attempt),
  { kind: 'chosen', point, attempt, by: { rule: 'RUN-35' }, why: 'It is the first accepted attempt of the point.' },
];
