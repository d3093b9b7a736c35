/** Small linear least-squares problems (a few unknowns), by QR of the weighted design. */
import { Matrix, QrDecomposition } from 'ml-matrix';

/** A column of which less than this part stands off those before it is taken to depend on them: rounding leaves about 1e-16. */
const independent = 1e-12;

/** The decomposed design; null: its columns are not independent, or it has fewer rows than columns. */
function decomposed(rows: readonly (readonly number[])[], weights: readonly number[] | null): QrDecomposition | null {
  const unknowns = rows[0]?.length ?? 0;
  if (unknowns === 0 || rows.length < unknowns) return null;
  const design = new Matrix(weighted(rows, weights));
  const qr = new QrDecomposition(design);
  const { upperTriangularMatrix: r } = qr;
  for (let j = 0; j < unknowns; j += 1) if (!(Math.abs(r.get(j, j)) > independent * design.getColumnVector(j).norm())) return null;
  return qr;
}

function weighted(rows: readonly (readonly number[])[], weights: readonly number[] | null): number[][] {
  return rows.map((row, i) => row.map((v) => v * Math.sqrt(weights?.[i] ?? 1)));
}

/** Solution and weighted sum of squared residuals; null: the columns are not independent, or there are too few rows. */
export function solveLeastSquares(
  rows: readonly (readonly number[])[],
  y: readonly number[],
  weights: readonly number[] | null,
): { readonly beta: readonly number[]; readonly squares: number } | null {
  const qr = decomposed(rows, weights);
  return qr === null ? null : solvedBy(qr, rows, y, weights);
}

function solvedBy(qr: QrDecomposition, rows: readonly (readonly number[])[], y: readonly number[], weights: readonly number[] | null): { readonly beta: readonly number[]; readonly squares: number } {
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
  const qr = decomposed(rows, weights);
  return qr === null ? null : covarianceBy(qr);
}

/** Solution and its covariance, from one decomposition. null: not independent. */
export function solveWithCovariance(rows: readonly (readonly number[])[], y: readonly number[], weights: readonly number[] | null): { readonly beta: readonly number[]; readonly covariance: readonly (readonly number[])[] } | null {
  const qr = decomposed(rows, weights);
  return qr === null ? null : { beta: solvedBy(qr, rows, y, weights).beta, covariance: covarianceBy(qr) };
}

function covarianceBy(qr: QrDecomposition): readonly (readonly number[])[] {
  const inverse = new QrDecomposition(qr.upperTriangularMatrix).solve(Matrix.eye(qr.upperTriangularMatrix.columns));
  return inverse.mmul(inverse.transpose()).to2DArray();
}
