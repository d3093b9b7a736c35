/** Small linear least-squares problems (a few unknowns), by QR of the weighted design. */
import { Matrix, QrDecomposition } from 'ml-matrix';

function weighted(rows: readonly (readonly number[])[], weights: readonly number[] | null): number[][] {
  return rows.map((row, i) => row.map((v) => v * Math.sqrt(weights?.[i] ?? 1)));
}

/** Solution and weighted sum of squared residuals; null: the columns are not independent, or there are too few rows. */
export function solveLeastSquares(
  rows: readonly (readonly number[])[],
  y: readonly number[],
  weights: readonly number[] | null,
): { readonly beta: readonly number[]; readonly squares: number } | null {
  const unknowns = rows[0]?.length ?? 0;
  if (unknowns === 0 || rows.length < unknowns) return null;
  const qr = new QrDecomposition(new Matrix(weighted(rows, weights)));
  if (!qr.isFullRank()) return null;
  const beta = qr.solve(Matrix.columnVector(y.map((v, i) => v * Math.sqrt(weights?.[i] ?? 1)))).to1DArray();
  let squares = 0;
  rows.forEach((row, i) => {
    let fitted = 0;
    row.forEach((v, j) => (fitted += v * (beta[j] ?? Number.NaN)));
    squares += (weights?.[i] ?? 1) * ((y[i] ?? Number.NaN) - fitted) ** 2;
  });
  return { beta, squares };
}

/** (X' W X)^-1: the covariance of the solution where the weights are 1 / variance. null: not independent. */
export function covarianceOf(rows: readonly (readonly number[])[], weights: readonly number[] | null): readonly (readonly number[])[] | null {
  const unknowns = rows[0]?.length ?? 0;
  if (unknowns === 0 || rows.length < unknowns) return null;
  const qr = new QrDecomposition(new Matrix(weighted(rows, weights)));
  if (!qr.isFullRank()) return null;
  const inverse = new QrDecomposition(qr.upperTriangularMatrix).solve(Matrix.eye(unknowns));
  return inverse.mmul(inverse.transpose()).to2DArray();
}
