/**
 * A reduced run as the pages use it: what the reduction says of its cells, and one mass for each attempt that counts.
 * Masses are kept without their budgets (they are worked out again for the one attempt that somebody looks at), so that
 * a run of ten thousand points passes quickly from the worker to the page.
 */
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { densityOfRun } from '../../../app/fluid/density-of-run.ts';
import { expandPlan } from '../../../app/plan/expand.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { celsius, pascals, toKilopascals, toMilliseconds } from '../../../app/quantities/quantity.ts';
import { reduceRun } from '../../../app/reduce/reduce.ts';
import type { CountingAttempt, Reduction } from '../../../app/reduce/reduce.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { plain } from './figures.ts';

interface WindowMass {
  readonly point: number;
  readonly attempt: number;
  readonly at: Point;
  /** kg; null: `why` says why not. */
  readonly mass: number | null;
  readonly why: string;
  /** Relative standard uncertainties. */
  readonly uRandom: number;
  readonly uShared: number;
}

export interface RunResults {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly points: readonly Point[];
  readonly reduction: Omit<Reduction, 'windows'>;
  readonly masses: readonly WindowMass[];
}

export interface ReduceRequest {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly attempts: readonly CountingAttempt[];
}

/** Changes exactly when another attempt counts somewhere. */
export function countingKey(state: RunState): string {
  return state.points.map(({ chosen }) => chosen ?? '').join(',');
}

export function reduceForPage({ plan, equipment, attempts }: ReduceRequest): RunResults {
  const points = expandPlan(plan);
  const { windows, ...reduction } = reduceRun({ plan, equipment, points, attempts });
  const masses = windows.map(({ point, attempt, at, outcome }): WindowMass =>
    outcome.kind === 'mass'
      ? { point, attempt, at, mass: outcome.mass, why: '', uRandom: outcome.uRandom, uShared: outcome.uShared }
      : { point, attempt, at, mass: null, why: outcome.text, uRandom: 0, uShared: 0 },
  );
  return { plan, equipment, points, reduction, masses };
}

/** A pressure and period: what lines and tables stand for. */
export interface Condition {
  readonly key: string;
  /** Pa */
  readonly pressure: number;
  /** s */
  readonly period: number;
  readonly label: string;
}

export function conditionKey({ pressure, period }: { readonly pressure: number; readonly period: number }): string {
  return `${pressure}|${period}`;
}

/** In the order of the cells, each once. */
export function conditionsOf({ reduction }: RunResults): readonly Condition[] {
  const found = new Map<string, Condition>();
  for (const { pressure, period } of reduction.cells) {
    const key = conditionKey({ pressure, period });
    if (!found.has(key)) {
      found.set(key, { key, pressure, period, label: `${plain(toKilopascals(pressure))} kPa, period ${plain(toMilliseconds(period))} ms` });
    }
  }
  return [...found.values()];
}

export type ResultCell = Reduction['cells'][number];

export function cellsAt({ reduction }: RunResults, condition: Condition): readonly ResultCell[] {
  return reduction.cells.filter((cell) => conditionKey(cell) === condition.key);
}

export function voltagesOf(cells: readonly ResultCell[]): readonly number[] {
  return [...new Set(cells.map((cell) => cell.voltage))].sort((a, b) => a - b);
}

/** Widths of the plan, s, shortest first. */
export function widthsOf({ points }: RunResults): readonly number[] {
  return [...new Set(points.filter((p) => p.role === 'measure').map((p) => p.width))].sort((a, b) => a - b);
}

/** Density to which masses are referred, kg/m3: what a volume flow is worked out with. null: outside of what is known. */
export function referenceDensity({ plan, equipment }: Pick<RunResults, 'plan' | 'equipment'>, pressure: number): number | null {
  return densityOfRun(equipment, celsius(plan.reduction.referenceC), pascals(pressure + equipment.ambientKpa * 1e3))?.density ?? null;
}
