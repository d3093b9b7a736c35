/**
 * Dead time over supply voltage as the pull-in of a coil, t = a + tau ln(V / (V - Vp)): the current of an R-L circuit
 * reaches the pull-in current after tau ln(V / (V - Vp)), with Vp the voltage that would only just drive it; `a` is what no
 * voltage changes (closing against opening movement). Fitted by variable projection: for each Vp the rest is linear.
 */
import { covarianceOf, solveLeastSquares } from './least-squares.ts';

export interface CoilForm {
  readonly kind: 'coil-form';
  /** s, s, V */
  readonly a: number;
  readonly tau: number;
  readonly pullInVoltage: number;
  /** Covariance of (a, tau, Vp), from the random uncertainties of the dead times, or from the residuals if those are larger. */
  readonly covariance: readonly (readonly number[])[];
  /** Dead time less form at each voltage, s, in the order given. */
  readonly residuals: readonly number[];
  readonly chiSquared: number;
  readonly dof: number;
}

export interface NoCoilForm {
  readonly kind: 'no-coil-form';
  readonly reason: 'too-few-voltages' | 'other-shape';
  readonly text: string;
}

const neededVoltages = 4;
/** Vp is looked for between these parts of the lowest voltage. */
const lowest = 0.05;
const highest = 0.98;

/** `u`: standard uncertainties from scatter, s. At least four distinct voltages. */
export function fitCoilForm(voltages: readonly number[], deadTimes: readonly number[], u: readonly number[]): CoilForm | NoCoilForm {
  const distinct = new Set(voltages).size;
  const usable = [...voltages, ...deadTimes, ...u].every(Number.isFinite) && voltages.every((v) => v > 0) && u.every((v) => v > 0);
  if (distinct < neededVoltages || !usable) {
    return { kind: 'no-coil-form', reason: 'too-few-voltages', text: `The form has three unknowns and needs ${neededVoltages} voltages with a dead time; ${usable ? distinct : 0} are there.` };
  }
  const weights = u.map((v) => 1 / (v * v));
  const lowestVoltage = Math.min(...voltages);
  const solveAt = (vp: number) => solveLeastSquares(voltages.map((v) => [1, Math.log(v / (v - vp))]), deadTimes, weights);
  const squaresAt = (vp: number): number => solveAt(vp)?.squares ?? Number.POSITIVE_INFINITY;
  const steps = 40;
  const grid = Array.from({ length: steps + 1 }, (_, i) => lowestVoltage * (lowest + ((highest - lowest) * i) / steps));
  let best = 0;
  grid.forEach((vp, i) => {
    if (squaresAt(vp) < squaresAt(grid[best] ?? vp)) best = i;
  });
  if (best === 0 || best === steps) return otherShape;
  const vp = minimum(squaresAt, grid[best - 1] ?? 0, grid[best + 1] ?? 0);
  const solved = solveAt(vp);
  const [a = Number.NaN, tau = Number.NaN] = solved?.beta ?? [];
  if (solved === null || !(tau > 0)) return otherShape;
  const covariance = covarianceOf(voltages.map((v) => [1, Math.log(v / (v - vp)), tau / (v - vp)]), weights);
  if (covariance === null) return otherShape;
  const dof = voltages.length - 3;
  const scale = Math.max(1, solved.squares / dof);
  return {
    kind: 'coil-form',
    a,
    tau,
    pullInVoltage: vp,
    covariance: covariance.map((row) => row.map((v) => v * scale)),
    residuals: voltages.map((v, i) => (deadTimes[i] ?? Number.NaN) - (a + tau * Math.log(v / (v - vp)))),
    chiSquared: solved.squares,
    dof,
  };
}

const otherShape: NoCoilForm = {
  kind: 'no-coil-form',
  reason: 'other-shape',
  text: 'The dead times do not curve with voltage as the pull-in of a coil does, so the form is not stated.',
};

/** Golden-section search. */
function minimum(f: (x: number) => number, from: number, to: number): number {
  const golden = (Math.sqrt(5) - 1) / 2;
  let [low, high] = [from, to];
  let [a, b] = [high - golden * (high - low), low + golden * (high - low)];
  let [fa, fb] = [f(a), f(b)];
  for (let i = 0; i < 60; i += 1) {
    if (fa < fb) {
      [high, b, fb] = [b, a, fa];
      a = high - golden * (high - low);
      fa = f(a);
    } else {
      [low, a, fa] = [a, b, fb];
      b = low + golden * (high - low);
      fb = f(b);
    }
  }
  return (low + high) / 2;
}
