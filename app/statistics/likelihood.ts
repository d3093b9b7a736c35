/** How far values are from nothing, counted in what is known of them together. */

/**
 * Squares of the values over their covariance matrix (Mahalanobis), and half the logarithm of its determinant; by Cholesky. The matrix is symmetric;
 * only its lower half is read. Where nothing scatters in a direction, it is taken for the millionth part of what does.
 */
export function whitened(matrix: readonly (readonly number[])[], values: readonly number[]): { readonly squares: number; readonly halfLogDeterminant: number } {
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
  return { squares, halfLogDeterminant };
}
