/**
 * How fast dead time changes with supply voltage and rail pressure: what turns an error of those instruments into an
 * error of dead time (RED-16, RED-17).
 */

export interface Sensitivity {
  /** Change of dead time for one unit (V or Pa), s. */
  readonly value: number;
  readonly from: 'neighbours' | 'default';
}

interface Known {
  readonly at: number;
  readonly deadTime: number;
}

/**
 * Derivative at `x` of the parabola through the three known places nearest to it (two: the straight line), in the
 * variable u(x) in which the curve is nearly straight; null when there are not two.
 */
function localDerivative(known: readonly Known[], x: number, u: (x: number) => number): number | null {
  const here = u(x);
  const nearest = known
    .map((k) => ({ u: u(k.at), y: k.deadTime }))
    .sort((a, b) => Math.abs(a.u - here) - Math.abs(b.u - here))
    .slice(0, 3);
  const [a, b, c] = nearest;
  if (a === undefined || b === undefined) return null;
  const ab = (b.y - a.y) / (b.u - a.u);
  if (c === undefined) return ab;
  const bc = (c.y - b.y) / (c.u - b.u);
  return ab + ((bc - ab) / (c.u - a.u)) * (here - a.u + here - b.u);
}

/**
 * dt0/dV at `voltage`. The pull-in time of a coil, (L/R) ln(V / (V - Vp)), is nearly straight in 1/V, so neighbouring
 * voltages of the same injector are joined there. Without a neighbour: -2 t0 / V, which is what that form gives within
 * a tenth or two at 8 to 16 V for a saturated-switch coil (own computation).
 */
export function deadTimeByVoltage(known: readonly Known[], voltage: number, deadTime: number): Sensitivity {
  const inReciprocal = localDerivative(known, voltage, (v) => 1 / v);
  if (inReciprocal === null) return { value: (-2 * deadTime) / voltage, from: 'default' };
  return { value: -inReciprocal / (voltage * voltage), from: 'neighbours' };
}

/**
 * dt0/dp at `pressure`, from neighbouring pressures of the same injector; without one: 3 % of the dead time for 100 kPa,
 * what a lumped model of a needle opening against the fluid gives at 200 to 500 kPa (own computation).
 */
export function deadTimeByPressure(known: readonly Known[], pressure: number, deadTime: number): Sensitivity {
  const slope = localDerivative(known, pressure, (p) => p);
  return slope === null ? { value: (0.03 * deadTime) / 1e5, from: 'default' } : { value: slope, from: 'neighbours' };
}
