/**
 * Where does a curve leave its line? A region that scatter has ended leaves widths outside of it that lie on the line all the same, and the
 * first of them was picked for lying off. So every width is given the chance that the bend has begun there, from all widths of the cell
 * together (RED-86).
 */
import { whitened } from '../statistics/likelihood.ts';
import { covarianceOfTwo } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';

/** A width outside of the region: what it lies off its line by, and the standard deviation of bends as they come. */
interface OffLine {
  readonly of: Carried;
  readonly usual: number;
}

/** Chance, before the widths are looked at, that none bends; the rest is shared evenly by the widths at which the bend may begin. */
const straight = 0.5;

/**
 * For each width, shortest first, the chance that the bend has begun there: it begins at one of them and goes on to the shortest, or there
 * is none. Bayes' rule with the covariance of the distances (they share their line), which is known up to a factor with `dof` degrees of freedom.
 */
export function chancesOfBend(widths: readonly OffLine[], dof: number): readonly number[] {
  const n = widths.length;
  const scatter = widths.map((a) => widths.map((b) => covarianceOfTwo(a.of, b.of)));
  const distances = widths.map((w) => w.of.value);
  const logs = Array.from({ length: n + 1 }, (_, bent) => {
    const withBend = scatter.map((row, i) => row.map((v, j) => (i === j && i < bent ? v + (widths[i]?.usual ?? 0) ** 2 : v)));
    return Math.log(bent === 0 ? straight : (1 - straight) / n) + logLikelihood(withBend, distances, dof);
  });
  const most = Math.max(...logs);
  const weights = logs.map((l) => Math.exp(l - most));
  const sumOf = (list: readonly number[]): number => list.reduce((a, b) => a + b, 0);
  return widths.map((_, i) => sumOf(weights.slice(i + 1)) / sumOf(weights));
}

/** Of Student's t in as many dimensions as there are values, but for what is the same for all matrices. */
function logLikelihood(matrix: readonly (readonly number[])[], values: readonly number[], dof: number): number {
  const { squares, halfLogDeterminant } = whitened(matrix, values);
  return -halfLogDeterminant - (Number.isFinite(dof) ? ((dof + values.length) / 2) * Math.log1p(squares / dof) : squares / 2);
}
