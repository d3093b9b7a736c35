/**
 * Shape-preserving interpolation: piecewise cubic Hermite with the derivatives of Fritsch and Butland (SIAM J. Sci. Stat.
 * Comput. 5, 1984), the variant of PCHIM in SLATEC: weighted harmonic means of neighbouring chords inside, three-point
 * formula held to the shape at the ends. Where the data rise or fall the curve does too, and it has no bumps of its own.
 */

/** Derivatives at the knots. `x` rises strictly; two knots give the chord. Throws with fewer than two. */
export function monotoneDerivatives(x: readonly number[], y: readonly number[]): readonly number[] {
  const n = x.length;
  if (n < 2 || y.length !== n) throw new Error('interpolation needs two knots or more');
  const h: number[] = [];
  const chord: number[] = [];
  for (let i = 0; i + 1 < n; i += 1) {
    const width = at(x, i + 1) - at(x, i);
    if (!(width > 0)) throw new Error('knots must rise');
    h.push(width);
    chord.push((at(y, i + 1) - at(y, i)) / width);
  }
  if (n === 2) return [at(chord, 0), at(chord, 0)];
  const derivatives = [endDerivative(at(h, 0), at(h, 1), at(chord, 0), at(chord, 1))];
  for (let i = 1; i + 1 < n; i += 1) {
    const [before, after] = [at(chord, i - 1), at(chord, i)];
    if (before * after <= 0) {
      derivatives.push(0);
      continue;
    }
    const left = 2 * at(h, i) + at(h, i - 1);
    const right = at(h, i) + 2 * at(h, i - 1);
    derivatives.push((left + right) / (left / before + right / after));
  }
  derivatives.push(endDerivative(at(h, n - 2), at(h, n - 3), at(chord, n - 2), at(chord, n - 3)));
  return derivatives;
}

function endDerivative(h0: number, h1: number, chord0: number, chord1: number): number {
  const d = ((2 * h0 + h1) * chord0 - h0 * chord1) / (h0 + h1);
  if (d * chord0 <= 0) return 0;
  // Steeper than this it can only be where the chords have different signs, which is where SLATEC asks for it.
  return Math.abs(d) > 3 * Math.abs(chord0) ? 3 * chord0 : d;
}

/** The curve at `where`; outside the knots it goes on as the straight line of its end. */
export function interpolateMonotone(x: readonly number[], y: readonly number[], where: number): number {
  const d = monotoneDerivatives(x, y);
  const last = x.length - 1;
  if (where <= at(x, 0)) return at(y, 0) + at(d, 0) * (where - at(x, 0));
  if (where >= at(x, last)) return at(y, last) + at(d, last) * (where - at(x, last));
  let i = 0;
  while (where > at(x, i + 1)) i += 1;
  const h = at(x, i + 1) - at(x, i);
  const t = (where - at(x, i)) / h;
  const s = 1 - t;
  return (
    at(y, i) * s * s * (1 + 2 * t) + at(y, i + 1) * t * t * (3 - 2 * t) + h * t * s * (at(d, i) * s - at(d, i + 1) * t)
  );
}

function at(list: readonly number[], i: number): number {
  return list[i] ?? Number.NaN;
}
