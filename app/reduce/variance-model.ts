/**
 * How the scatter of mass per pulse between windows grows with the mass: variance = constant + relative^2 mass^2, and where windows end within a turn
 * of the meter what the turn's own error adds to that (RED-95).
 *
 * Three replicates tell the scatter of one width badly (two degrees of freedom), and weights from them would make the
 * fit worse than no weights. All widths, injectors and voltages of one pressure and period together tell it well. RED-6. Groups in
 * which something went wrong must not tell it: no group counts for more than what chance exceeds in one of ten (RED-80).
 */
import { capOf } from '../statistics/robust.ts';
import { solveLeastSquares } from './least-squares.ts';
import type { MassPerPulse } from './mass.ts';

export interface VarianceModel {
  /** kg^2 */
  readonly constant: number;
  /** Dimensionless, squared relative scatter. */
  readonly relative: number;
  /** Dimensionless, squared relative error inside a turn of the meter, for a window that averages nothing of it; absent: windows are whole turns. */
  readonly turn?: number;
  /** Degrees of freedom behind the model: those of the groups, less what capping them costs. */
  readonly dof: number;
  /** Covariance of constant, relative and turn, where the groups told more than one of them; the errors of the three are those of every variance that is told by them. */
  readonly covariance?: Covariance;
  /** neighbours: windows against the line through those beside them, where each width was measured once (RED-82). */
  readonly from: 'replicates' | 'windows' | 'neighbours';
}

/** Symmetrical: of constant, relative and turn with each other. */
export type Covariance = readonly [Three, Three, Three];

export interface ScatterGroup {
  readonly mass: number;
  /** Estimated variance of one window's mass, kg^2, and its degrees of freedom. */
  readonly variance: number;
  readonly dof: number;
  /** What is left in it of the squared error inside a turn of the meter, 0 to 1; absent: nothing. */
  readonly partTurn?: number;
}

const mostIterations = 30;

/**
 * Fits the two non-negative parameters to group variances by iteratively weighted least squares: the variance of a
 * variance estimate is 2 sigma^4 / dof. Capped after algorithm S, which is consistent for normal scatter.
 */
export function fitVarianceModel(groups: readonly ScatterGroup[], from: VarianceModel['from']): VarianceModel {
  let dof = 0;
  let relativeSum = 0;
  let left = 0;
  const capped: readonly Capped[] = groups.map((g) => ({ mass: g.mass, variance: g.variance, dof: g.dof, partTurn: g.partTurn ?? 0, cap: capOf(g.dof) }));
  for (const g of capped) {
    dof += g.dof;
    left += g.dof * g.cap.efficiency;
    relativeSum += (g.dof * g.variance) / (g.mass * g.mass);
  }
  if (dof === 0) return { constant: 0, relative: 0, dof, from };
  let constant = 0;
  let relative = relativeSum / dof;
  if (relative === 0) return { constant, relative, dof: left, from };
  if (groups.some((g) => (g.partTurn ?? 0) > 0)) return withCovariance({ ...fitWithTurns(capped, relative), dof: left, from }, capped);
  for (let iteration = 0; iteration < mostIterations; iteration += 1) {
    let w0 = 0;
    let w2 = 0;
    let w4 = 0;
    let y0 = 0;
    let y2 = 0;
    for (const g of capped) {
      const m2 = g.mass * g.mass;
      const model = constant + relative * m2;
      const weight = g.dof / (model * model);
      const variance = Math.min(g.variance, g.cap.limit * model) / g.cap.mean;
      w0 += weight;
      w2 += weight * m2;
      w4 += weight * m2 * m2;
      y0 += weight * variance;
      y2 += weight * variance * m2;
    }
    const determinant = w0 * w4 - w2 * w2;
    const a = determinant > 1e-12 * w0 * w4 ? (y0 * w4 - y2 * w2) / determinant : 0;
    const b = determinant > 1e-12 * w0 * w4 ? (y2 * w0 - y0 * w2) / determinant : y2 / w4;
    const before = [constant, relative] as const;
    if (a <= 0) {
      constant = 0;
      relative = y2 / w4;
    } else if (b <= 0) {
      constant = y0 / w0;
      relative = 0;
    } else {
      constant = a;
      relative = b;
    }
    if (Math.abs(constant - before[0]) <= 1e-6 * constant && Math.abs(relative - before[1]) <= 1e-6 * relative) break;
  }
  return withCovariance({ constant, relative, dof: left, from }, capped);
}

/**
 * With the covariance of the fit: the variance of a variance is 2 sigma^4 / dof. Parts that were left out because they would be negative have their variance too: nobody knows that they are nought. Where
 * the groups do not tell two parts from each other there is none.
 */
function withCovariance(model: VarianceModel, groups: readonly Capped[]): VarianceModel {
  const told = groups.map((g) => ({ mass: g.mass, variance: g.variance, dof: (g.dof * g.cap.efficiency) / 2, partTurn: g.partTurn ?? 0, cap: g.cap }));
  const { sums } = normalEquations(told, squaresOf(told), turnsOf(told), [model.constant, model.relative, model.turn ?? 0]);
  const covariance = inverseOf(sums, model.turn === undefined ? [0, 1] : [0, 1, 2]);
  return covariance === null ? model : { ...model, covariance };
}

/** Of the rows and columns `some`, the others nought; null: singular. */
function inverseOf(sums: Covariance, some: readonly (0 | 1 | 2)[]): Covariance | null {
  const inverse: [[number, number, number], [number, number, number], [number, number, number]] = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  for (const j of some) {
    const column = solutionOf(sums, some, (i) => (i === j ? 1 : 0));
    if (column === null) return null;
    column.forEach(({ part, scaled, size }) => (inverse[part][j] = scaled / size));
  }
  return inverse;
}

/** The solution of the normal equations for the parts `some`, each scaled so that every column is as large: over `size` it is the part itself. null: columns that depend on each other. */
function solutionOf(sums: Covariance, some: readonly (0 | 1 | 2)[], right: (part: 0 | 1 | 2) => number): readonly { readonly part: 0 | 1 | 2; readonly scaled: number; readonly size: number }[] | null {
  const size = (j: 0 | 1 | 2): number => Math.sqrt(sums[j][j]) || 1;
  const solved = solveLeastSquares(some.map((i) => some.map((j) => sums[i][j] / size(i) / size(j))), some.map((i) => right(i) / size(i)), null)?.beta;
  return solved === undefined ? null : some.map((part, i) => ({ part, scaled: solved[i] ?? 0, size: size(part) }));
}

/** How much of each part of a model a variance holds, kg^0, kg^2 and kg^2: one window of a mass 1, the mass squared, and that times what is left of a turn. */
export type PartsOfVariance = Three;

/** One window's, of `mass`, kg; `partTurn`: as in a group. */
export const partsAt = (mass: number, partTurn = 0): PartsOfVariance => [1, mass * mass, partTurn * mass * mass];

/**
 * Degrees of freedom of a sum of variances that models tell, by what it holds of the parts of each (Satterthwaite 1946, from memory: twice the square of the variance over its own variance). The same number of windows tells a
 * variance well among masses like theirs and badly far from them. `known`: what of it is no estimate, kg^2. RED-112
 */
export function degreesOf(held: Iterable<readonly [VarianceModel, PartsOfVariance]>, known = 0): number {
  let sum = known;
  let ofSum = 0;
  for (const [{ constant, relative, turn = 0, covariance, dof }, parts] of held) {
    const variance = parts[0] * constant + parts[1] * relative + parts[2] * turn;
    sum += variance;
    if (covariance === undefined) ofSum += dof > 0 ? (2 * variance * variance) / dof : 0;
    else for (let i = 0; i < 3; i += 1) for (let j = 0; j < 3; j += 1) ofSum += (parts[i] as number) * (parts[j] as number) * ((covariance[i] as Three)[j] as number);
  }
  return ofSum > 0 ? (2 * sum * sum) / ofSum : Number.POSITIVE_INFINITY;
}

type Capped = ScatterGroup & { readonly cap: ReturnType<typeof capOf> };

/** The same with a third part, as the square of what is left of a turn: of the models of some of the parts the best of which none is negative. */
function fitWithTurns(groups: readonly Capped[], start: number): { readonly constant: number; readonly relative: number; readonly turn: number } {
  let found: Three = [0, start, 0];
  const [squares, turns] = [squaresOf(groups), turnsOf(groups)];
  for (let iteration = 0; iteration < mostIterations; iteration += 1) {
    const { sums, right } = normalEquations(groups, squares, turns, found);
    const before = found;
    const next = bestOf(sums, right);
    // Where windows hardly scatter at all, sums of weights leave nothing to solve by: every window keeps a variance.
    if (!squares.every((m2, i) => next[0] + next[1] * m2 + next[2] * (turns[i] as number) > 0)) break;
    found = next;
    if (found.every((part, j) => Math.abs(part - (before[j] ?? 0)) <= 1e-6 * part)) break;
  }
  return { constant: found[0], relative: found[1], turn: found[2] };
}

type Three = readonly [number, number, number];

const squaresOf = (groups: readonly Capped[]): Float64Array => Float64Array.from(groups, ({ mass }) => mass * mass);
const turnsOf = (groups: readonly Capped[]): Float64Array => Float64Array.from(groups, ({ mass, partTurn = 0 }) => partTurn * (mass * mass));

/** Of one step, with the weights that the model `found` gives. By itself, because the step is most of the work of many fits: a loop that is left at once is made fast anew each time. */
function normalEquations(groups: readonly Capped[], squares: Float64Array, turns: Float64Array, [constant, relative, turn]: Three): { readonly sums: readonly [Three, Three, Three]; readonly right: Three } {
  let [s00, s01, s02, s11, s12, s22, y0, y1, y2] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  for (let i = 0; i < groups.length; i += 1) {
    const { variance, dof, cap } = groups[i] as Capped;
    const m2 = squares[i] as number;
    const t2 = turns[i] as number;
    const model = constant + relative * m2 + turn * t2;
    const weight = dof / (model * model);
    const capped = Math.min(variance, cap.limit * model) / cap.mean;
    s00 += weight;
    s01 += weight * m2;
    s02 += weight * t2;
    s11 += weight * m2 * m2;
    s12 += weight * m2 * t2;
    s22 += weight * t2 * t2;
    y0 += weight * capped;
    y1 += weight * m2 * capped;
    y2 += weight * t2 * capped;
  }
  return { sums: [[s00, s01, s02], [s01, s11, s12], [s02, s12, s22]], right: [y0, y1, y2] };
}

/** The solution of the normal equations without the parts that would be negative, the most negative first; no window is without one of the first two. */
function bestOf(sums: readonly [Three, Three, Three], right: Three): Three {
  let some: readonly (0 | 1 | 2)[] = [0, 1, 2];
  while (some.some((j) => j < 2)) {
    const solved = solutionOf(sums, some, (i) => right[i]);
    const least = solved === null ? 0 : Math.min(...solved.map(({ scaled }) => scaled));
    if (solved !== null && least >= 0) {
      const parts: [number, number, number] = [0, 0, 0];
      for (const { part, scaled, size } of solved) parts[part] = scaled / size;
      return parts;
    }
    // Columns that depend on each other: the last of them goes.
    const worst = solved === null ? some.length - 1 : solved.findIndex(({ scaled }) => scaled === least);
    some = some.filter((_, i) => i !== worst);
  }
  return [0, right[1] / (sums[1][1] || 1), 0];
}

/** Variance of one window's mass, kg^2. `partTurn`: as in a group. */
export function varianceAt(model: VarianceModel, mass: number, partTurn = 0): number {
  return model.constant + (model.relative + (model.turn ?? 0) * partTurn) * mass * mass;
}

/** The same of one that was reduced to `mass`, kg, never less than its timing allows. `at`: the mass at which the model is asked. */
export function varianceOfWindow(model: VarianceModel, { partTurn, uTiming }: Pick<MassPerPulse, 'partTurn' | 'uTiming'>, mass: number, at = mass): number {
  return Math.max(varianceAt(model, at, partTurn), (uTiming * mass) ** 2);
}

/** Degrees of freedom of that: as well as the model is known at the mass; timing alone is known. */
export function dofOfWindow(model: VarianceModel, { partTurn, uTiming }: Pick<MassPerPulse, 'partTurn' | 'uTiming'>, mass: number): number {
  return (uTiming * mass) ** 2 > varianceAt(model, mass, partTurn) ? Number.POSITIVE_INFINITY : degreesOf([[model, partsAt(mass, partTurn)]]);
}
