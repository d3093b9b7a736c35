/**
 * How fast dead time changes with supply voltage, rail pressure and coil temperature: what refers it to the plan's
 * conditions, and what turns an error of those instruments into an error of dead time (RED-16, RED-17, RED-18).
 */

import type { StatedOhm } from '../plan/coil-of-type.ts';

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
/** By how much opening movements take longer than closing ones, s: they are no electrical time. Own computation; the clamp's part not in it. */
const movements = 0.7e-4;

/**
 * dt0/dT of a copper coil, from dt0/dV. Resistance R and voltage V enter the pull-in time as (L/R) g(R/V): with R larger
 * by a fraction, V might as well be smaller by it and all electrical time shorter by it. Dead time is electrical but for
 * opening and closing movements, which nearly cancel, so dt0/dlnR = -V dt0/dV - t0, to about 0.15 ms.
 */
export function deadTimeByTemperature(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp | null = null): Sensitivity {
  const byResistance = deadTimeByLogResistance(byVoltage, voltage, deadTime, clamp);
  return { value: copper * byResistance.value, u: copper * byResistance.u, from: 'coil-model' };
}

/** Change of dead time with the clamp of the driver, s/V, and the clamp itself, switched terminal to ground, V. */
export interface ByClamp {
  readonly clampV: number;
  readonly sensitivity: Sensitivity;
}

/**
 * The same argument with a clamp to ground at D: while the current decays the coil sees D - V, so that R larger by a fraction is
 * also V and D smaller by it: dt0/dlnR = -V dt0/dV - D dt0/dD - t0. A record that does not state the clamp leaves its part out.
 */
function deadTimeByLogResistance(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp | null): { readonly value: number; readonly u: number } {
  const ofClamp = clamp === null ? { value: 0, u: 0 } : { value: clamp.clampV * clamp.sensitivity.value - movements, u: clamp.clampV * clamp.sensitivity.u };
  // Where the clamp is known the movements are taken off, and are believed no better than to their own size.
  const left = clamp === null ? neglected : movements;
  return { value: -voltage * byVoltage.value - deadTime - ofClamp.value, u: Math.hypot(left, voltage * byVoltage.u, ofClamp.u) };
}

/**
 * dt0/dR of resistance between supply and coil, s/ohm: it stands in series with the coil's own and does to the current what the
 * coil's own does. `coil` is the resistance of the whole circuit, ohm, with its relative standard uncertainty.
 */
export function deadTimeByResistance(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp, circuit: CoilCircuit): Sensitivity {
  const { value, u } = deadTimeByLogResistance(byVoltage, voltage, deadTime, clamp);
  return { value: value / circuit.ohm, u: Math.hypot(u, value * circuit.uRelative) / circuit.ohm, from: 'coil-model' };
}

/** Time constant of the current's decay into the clamp, s, and the hold limit as the coil's voltage drop, V. Own computation, as below. */
const decayTau = 0.4e-3;
const releaseV = 2;
const uDecay = 0.4;

/**
 * dt0/dD of a clamp to ground at D, s/V. The coil's current decays from V/R towards -(D - V)/R until the needle is let go, at a drop
 * of `releaseV` across the coil's resistance: t = tau ln(D / (D - V + releaseV)), so dt0/dD = -dt/dD =
 * tau (1 / (D - V + releaseV) - 1 / D). tau is far below L/R of the shut injector, because the iron is saturated while it is
 * held and its eddy currents do not end with the coil's; lumped models of saturated-switch injectors give 0.3 to 0.7 ms.
 */
export function deadTimeByClamp(voltage: number, clampV: number): Sensitivity {
  const value = decayTau * (1 / (clampV - voltage + releaseV) - 1 / clampV);
  return { value, u: value * uDecay, from: 'coil-model' };
}

/** The resistance that limits a coil's current, with its relative standard uncertainty. */
export interface CoilCircuit {
  readonly ohm: number;
  readonly uRelative: number;
  readonly from: 'current' | 'stated' | 'default';
}

/** Coils for saturated switches have 11 to 17 ohm (common practice, no source), rectangular. */
const usualCircuit: CoilCircuit = { ohm: 14, uRelative: 3 / 14 / Math.sqrt(3), from: 'default' };
/** Coils that pulse are up to 15 K warmer than at 20 degC, relative, rectangular: 0.4 % a kelvin. */
const uWarmer = (15 * 0.00393) / Math.sqrt(3);
/** How well the bench's ammeter is believed, relative: no certificate covers it. */
const uAmmeter = 0.05;

/**
 * The resistance of the circuit from the supply current over the widths of a cell: a pulse longer by dw takes I dw more charge, where
 * I is the current that the resistance allows. `mean` A is that of a whole period. Without readings, or where they make no
 * sense, what the plan states of the coil (`stated`, at 20 degC), else the usual one.
 */
export function coilCircuitOf(windows: readonly { readonly width: number; readonly period: number; readonly mean: number }[], voltage: number, stated: StatedOhm | null): CoilCircuit {
  const n = windows.length;
  const meanWidth = windows.reduce((sum, w) => sum + w.width, 0) / n;
  const meanCharge = windows.reduce((sum, w) => sum + w.mean * w.period, 0) / n;
  let sxx = 0;
  let sxy = 0;
  for (const { width, period, mean } of windows) {
    sxx += (width - meanWidth) ** 2;
    sxy += (width - meanWidth) * (mean * period - meanCharge);
  }
  const ohm = (voltage * sxx) / sxy;
  if (n > 0 && sxx > 0 && ohm > 1 && ohm < 100) return { ohm, uRelative: uAmmeter, from: 'current' };
  return stated === null ? usualCircuit : { ohm: stated.ohm, uRelative: Math.hypot(stated.u / stated.ohm, uWarmer), from: 'stated' };
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
