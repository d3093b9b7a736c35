/**
 * How fast dead time changes with supply voltage, rail pressure and coil temperature: what refers it to the plan's
 * conditions, and what turns an error of those instruments into an error of dead time (RED-16, RED-17, RED-18).
 */

export interface Sensitivity {
  /** Change of dead time for one unit (V, Pa or K), s. */
  readonly value: number;
  /** Standard uncertainty of the value. */
  readonly u: number;
  readonly from: 'neighbours' | 'default' | 'coil-model';
}

/** A place on an axis (V or Pa) at which the dead time of the same injector is known. */
interface Known {
  readonly at: number;
  readonly deadTime: number;
}

/** How well a parabola, a chord and a default give the derivative, relative (own computation with models of coils). */
const uParabola = 0.05;
const uChord = 0.25;
const uDefault = 0.25;

/** Derivative dy/dx at `x` of the parabola through the three places nearest to it (two: of the chord); null: fewer. */
function localDerivative(places: readonly { readonly x: number; readonly y: number }[], x: number): { readonly value: number; readonly uRelative: number } | null {
  const [a, b, c] = [...places].sort((p, q) => Math.abs(p.x - x) - Math.abs(q.x - x));
  if (a === undefined || b === undefined) return null;
  const ab = (b.y - a.y) / (b.x - a.x);
  if (c === undefined) return { value: ab, uRelative: uChord };
  const bc = (c.y - b.y) / (c.x - b.x);
  return { value: ab + ((bc - ab) / (c.x - a.x)) * (x - a.x + x - b.x), uRelative: uParabola };
}

/**
 * dt0/dV at `voltage`. Dead time falls with voltage nearly as a power of it, so neighbouring voltages of the same injector
 * are joined in the logarithms of both. Without a neighbour: -2 t0 / V, which the pull-in of a saturated-switch coil,
 * (L/R) ln(V / (V - Vp)), and a lumped model of needle and coil come near at 8 to 16 V (own computation).
 */
export function deadTimeByVoltage(known: readonly Known[], voltage: number, deadTime: number): Sensitivity {
  const logarithms = known.filter((k) => k.deadTime > 0).map((k) => ({ x: Math.log(k.at), y: Math.log(k.deadTime) }));
  const exponent = deadTime > 0 ? localDerivative(logarithms, Math.log(voltage)) : null;
  if (exponent === null || exponent.value > 0) {
    const value = (-2 * deadTime) / voltage;
    return { value, u: Math.abs(value) * uDefault, from: 'default' };
  }
  const value = (exponent.value * deadTime) / voltage;
  return { value, u: Math.abs(value) * exponent.uRelative, from: 'neighbours' };
}

/**
 * dt0/dp at `pressure`, from neighbouring pressures of the same injector; without one: 3 % of the dead time for 100 kPa,
 * what a lumped model of a needle opening against the fluid gives at 200 to 500 kPa (own computation).
 */
export function deadTimeByPressure(known: readonly Known[], pressure: number, deadTime: number): Sensitivity {
  const slope = localDerivative(known.map((k) => ({ x: k.at, y: k.deadTime })), pressure);
  if (slope !== null) return { value: slope.value, u: Math.abs(slope.value) * slope.uRelative, from: 'neighbours' };
  const value = (0.03 * deadTime) / 1e5;
  return { value, u: Math.abs(value) * uDefault, from: 'default' };
}

/** Temperature coefficient of copper's resistance at 20 degC, 1/K (IEC 60028). */
const copper = 0.00393;
/** Standard uncertainty of what the estimate below leaves out, s: the movements of the needle. Own computation. */
const neglected = 1.5e-4;

/**
 * dt0/dT of a copper coil, from dt0/dV. Resistance R and voltage V enter the pull-in time as (L/R) g(R/V): with R larger
 * by a fraction, V might as well be smaller by it and all electrical time shorter by it. Dead time is electrical but for
 * opening and closing movements, which nearly cancel, so dt0/dlnR = -V dt0/dV - t0, to about 0.15 ms.
 */
export function deadTimeByTemperature(byVoltage: Sensitivity, voltage: number, deadTime: number): Sensitivity {
  return {
    value: copper * (-voltage * byVoltage.value - deadTime),
    u: copper * Math.hypot(neglected, voltage * byVoltage.u),
    from: 'coil-model',
  };
}

/**
 * Standard uncertainty of how much warmer the coil is than the rail's thermometer says, beyond the settled self-heating of
 * its pulses, K: the coil follows duty and fluid late, and nobody measures it. Type B, an estimate.
 */
export const uCoilOverRail = 0.2;

/**
 * Standard uncertainty of how far the coil stands from the settled warmth of its own pulses, K, for a pulse of the width at the
 * middle of a line; proportional to the open time. Type B: a coil that takes a second to follow, and a window that begins a
 * second after its pulses, leave up to a quarter of a kelvin (own computation); rectangular.
 */
export const uCoilLate = 0.25 / Math.sqrt(3);
