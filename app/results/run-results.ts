/**
 * A reduced run as people look at it: what the reduction says of its cells, and one mass for each attempt that counts. Masses are kept
 * without their budgets (they are worked out again for the one attempt that somebody looks at), so that a run of ten thousand points
 * passes quickly from one thread to another.
 */
import type { Equipment } from '../equipment/equipment.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { dofOfRandom } from '../reduce/budget-table.ts';
import { reduceRun } from '../reduce/reduce.ts';
import type { CountingAttempt, ReducedWindow, Reduction, Source } from '../reduce/reduction.ts';
import type { RunOfErrors } from './across-runs.ts';

/** What one attempt comes down to. */
export interface WindowMass extends Source {
  readonly at: Point;
  /** kg; null: `why` says why not. */
  readonly mass: number | null;
  readonly why: string;
  /** Relative standard uncertainties; the degrees of freedom of the random one. */
  readonly uRandom: number;
  readonly dofRandom: number;
  readonly uShared: number;
}

export interface RunResults extends RunOfErrors {
  readonly plan: Plan;
  readonly points: readonly Point[];
  readonly reduction: Omit<Reduction, 'windows'>;
  readonly masses: readonly WindowMass[];
}

export interface RunToReduce {
  readonly id: string;
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly points: readonly Point[];
  readonly attempts: readonly CountingAttempt[];
}

/** Reduces a run that its journal tells. */
export function resultsOf({ id, plan, equipment, points, attempts }: RunToReduce): RunResults {
  const { windows, ...reduction } = reduceRun({ plan, equipment, points, attempts });
  return { id, plan, equipment, points, reduction, masses: massesOf(windows) };
}

export function massesOf(windows: readonly ReducedWindow[]): readonly WindowMass[] {
  return windows.map(({ point, attempt, at, outcome }) =>
    outcome.kind === 'mass'
      ? { point, attempt, at, mass: outcome.mass, why: '', uRandom: outcome.uRandom, dofRandom: dofOfRandom(outcome.budget), uShared: outcome.uShared }
      : { point, attempt, at, mass: null, why: outcome.text, uRandom: 0, dofRandom: Number.POSITIVE_INFINITY, uShared: 0 },
  );
}

/** A pressure and period: what lines and tables stand for. */
export function conditionKey({ pressure, period }: { readonly pressure: number; readonly period: number }): string {
  return `${pressure}|${period}`;
}
