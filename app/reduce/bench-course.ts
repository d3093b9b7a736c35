/**
 * The course of the bench over a run by its reference point, to be taken off where the plan asks for it (PLAN-84, RED-132): a control chart's line
 * used as a correction, as ISO 11095 has it for calibrations (from memory).
 */
import { levelsOf } from './local-level.ts';
import type { Stage } from './local-level.ts';
import { referencesOf } from './bench-drift.ts';
import { dividedBy } from './mass.ts';
import type { BenchDrift, ReducedWindow, Reduction } from './reduction.ts';

export interface BenchCourse {
  /** What masses measured at this place in the order of measuring are divided by. */
  readonly factorAt: (order: number) => number;
  readonly takenOff: TakenOff;
}

/** Relative: the greatest correction, and the standard uncertainty of one, in the root mean square over the run. */
type TakenOff = NonNullable<Extract<BenchDrift, { kind: 'told' }>['takenOff']>;

/**
 * What is stated of a place is its level less the mean of the run, which the reference points share; where between two of them the bench went from
 * one level to the next nobody saw, so a straight line stands for it and their difference is rectangular. null: too few of them.
 */
export function benchCourseOf(windows: readonly ReducedWindow[], scatter: Reduction['scatter'], orders: ReadonlyMap<ReducedWindow, number>): BenchCourse | null {
  const known = referencesOf(windows, scatter, orders);
  if (known === null) return null;
  const mean = known.reduce((sum, k) => sum + k.mass, 0) / known.length;
  const stages = known.map((one): Stage => ({ at: one.order, reading: { value: one.mass / mean - 1, variance: one.sd * one.sd }, jump: 0 }));
  const average = stages.map((_, stage) => ({ stage, weight: -1 / stages.length }));
  const told = levelsOf(
    stages,
    stages.map((_, stage) => average.map((a) => (a.stage === stage ? { stage, weight: a.weight + 1 } : a))),
  );
  const places = stages.map((s, i) => ({ at: s.at, level: told[i]?.mean ?? 0 }));
  const factorAt = (order: number): number => {
    const after = places.findIndex((p) => p.at >= order);
    const [a, b] = [places[after < 0 ? places.length - 1 : Math.max(0, after - 1)], places[after < 0 ? places.length - 1 : after]];
    if (a === undefined || b === undefined || b.at <= a.at) return 1 + (b?.level ?? 0);
    const share = Math.min(1, Math.max(0, (order - a.at) / (b.at - a.at)));
    return 1 + a.level + share * (b.level - a.level);
  };
  const between = places.reduce((sum, p, i) => sum + (p.level - (places[i - 1] ?? p).level) ** 2 / 12, 0) / (places.length - 1);
  return { factorAt, takenOff: { most: Math.max(...places.map((p) => Math.abs(p.level))), u: Math.sqrt(told.reduce((sum, t) => sum + t.variance, 0) / told.length + between) } };
}

/** The window as the bench in its mean would have measured it. Reference points stay as they are: they say what was taken off. */
export function onMeanBench(window: ReducedWindow, factor: number): ReducedWindow {
  const { at, outcome } = window;
  return at.role === 'reference' || outcome.kind !== 'mass' ? window : { ...window, outcome: dividedBy(outcome, factor), ofBench: factor };
}
