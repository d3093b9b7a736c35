/**
 * Where does a curve leave its line? A region that scatter has ended leaves widths outside of it that lie on the line all the same, and the
 * first of them was picked for lying off. So every width is given the chance that the bend has begun there, from all widths of the cell
 * together (RED-86).
 */
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

/** Of Student's t in as many dimensions as there are values, but for what is the same for all matrices; by Cholesky. */
function logLikelihood(matrix: readonly (readonly number[])[], values: readonly number[], dof: number): number {
  const lower: number[][] = [];
  const solved: number[] = [];
  let halfLogDeterminant = 0;
  let squares = 0;
  matrix.forEach((row, i) => {
    const own: number[] = [];
    const less = (of: number, other: readonly number[], upTo: number): number => {
      let left = of;
      for (let k = 0; k < upTo; k += 1) left -= (own[k] ?? 0) * (other[k] ?? 0);
      return left;
    };
    for (let j = 0; j < i; j += 1) own.push(less(row[j] ?? 0, lower[j] ?? [], j) / (lower[j]?.[j] ?? 1));
    // Rounding may take a whole direction away where nothing scatters.
    const diagonal = Math.sqrt(Math.max(less(row[i] ?? 0, own, i), 1e-12 * (row[i] ?? 0), Number.MIN_VALUE));
    const standard = less(values[i] ?? 0, solved, i) / diagonal;
    lower.push([...own, diagonal]);
    solved.push(standard);
    halfLogDeterminant += Math.log(diagonal);
    squares += standard * standard;
  });
  return -halfLogDeterminant - (Number.isFinite(dof) ? ((dof + values.length) / 2) * Math.log1p(squares / dof) : squares / 2);
}
