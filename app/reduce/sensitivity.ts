/**
 * How fast dead time changes with supply voltage, rail pressure and coil temperature: what refers it to the plan's
 * conditions, and what turns an error of those instruments into an error of dead time (RED-16, RED-17, RED-18).
 */

import type { StatedOhm } from '../plan/coil-of-type.ts';
import { copperPerKelvin } from '../quantities/copper.ts';

export interface Sensitivity {
  /** Change of dead time for one unit (V, Pa or K), s. */
  readonly value: number;
  /** Standard uncertainty of the value. */
  readonly u: number;
  readonly from: 'neighbours' | 'stated' | 'default' | 'coil-model';
}

/** What a resistance of the coil's circuit that is larger by a fraction does to a dead time: dt0/dlnR, s, with its standard uncertainty. */
export interface ByLogResistance {
  readonly value: number;
  readonly u: number;
}

/** A place on an axis (V or Pa) at which the dead time of the same injector is known. */
interface Known {
  readonly at: number;
  readonly deadTime: number;
}

/** The coordinates in which dead times over an axis are joined, and what a derivative in them says of the dead time's own. */
interface Joined {
  readonly x: (at: number) => number;
  readonly y: (deadTime: number) => number;
  readonly derivative: (slope: number, deadTime: number) => number;
  /** Whether it takes dead times above 0. */
  readonly positive: boolean;
}

/** Places of the three nearest to `x` among coordinates, the nearest first; fewer: there are no more. */
function nearestThree(xs: readonly number[], x: number): readonly number[] {
  return xs.map((_, i) => i).sort((p, q) => Math.abs((xs[p] ?? 0) - x) - Math.abs((xs[q] ?? 0) - x)).slice(0, 3);
}

/** Derivative dy/dx at `x` of the parabola through the places `near` (two: of the chord); null: fewer. */
function localDerivative(xs: readonly number[], ys: readonly number[], [a, b, c]: readonly number[], x: number): number | null {
  if (a === undefined || b === undefined) return null;
  const [xa, xb, ya, yb] = [xs[a] ?? 0, xs[b] ?? 0, ys[a] ?? 0, ys[b] ?? 0];
  const ab = (yb - ya) / (xb - xa);
  if (c === undefined) return ab;
  const [xc, yc] = [xs[c] ?? 0, ys[c] ?? 0];
  const bc = (yc - yb) / (xc - xb);
  return ab + ((bc - ab) / (xc - xa)) * (x - xa + x - xb);
}

/** What dead times at some places say of the derivative at one of the axis where the dead time is `here`; null: nothing. */
function toldBy(known: readonly Known[], { x, y, derivative, positive }: Joined, at: number, here: number): number | null {
  if (positive && !(here > 0 && known.every((k) => k.deadTime > 0))) return null;
  const xs = known.map((k) => x(k.at));
  const slope = localDerivative(xs, known.map((k) => y(k.deadTime)), nearestThree(xs, x(at)), x(at));
  return slope === null ? null : derivative(slope, here);
}

/** A way in which dead times may go over an axis, but for height and size, and its derivative. */
interface Form {
  readonly of: (at: number) => number;
  readonly slope: (at: number) => number;
}

/** Coils are not of these forms themselves: what is told by them is missed by up to 1.5 times as much (a bench of another hand, RED-141). */
const ofForms = 1.5;

/**
 * What a derivative that is told from dead times at some places is uncertain by, relative: the root mean square of what it misses the derivative of each form by that goes through the outer two of
 * them, all as likely. Where no form can be put through them: `otherwise`.
 */
function missedBy(forms: readonly Form[], places: readonly Known[], at: number, { x, y, derivative, positive }: Joined, otherwise: number): number {
  const rising = places.toSorted((a, b) => a.at - b.at);
  const [first, last] = [rising[0], rising.at(-1)];
  if (first === undefined || last === undefined) return otherwise;
  // Where the places lie is the same for all forms.
  const xs = rising.map((p) => x(p.at));
  const xAt = x(at);
  const near = nearestThree(xs, xAt);
  let squares = 0;
  let n = 0;
  for (const { of, slope } of forms) {
    const ofFirst = of(first.at);
    const size = (last.deadTime - first.deadTime) / (of(last.at) - ofFirst);
    const here = first.deadTime + size * (of(at) - ofFirst);
    const deadTimes = rising.map((p) => first.deadTime + size * (of(p.at) - ofFirst));
    if (positive && !(here > 0 && deadTimes.every((t) => t > 0))) continue;
    const found = localDerivative(xs, deadTimes.map(y), near, xAt);
    if (found === null) continue;
    const miss = derivative(found, here) / (size * slope(at)) - 1;
    if (!Number.isFinite(miss)) continue;
    squares += miss * miss;
    n += 1;
  }
  return n === 0 ? otherwise : ofForms * Math.sqrt(squares / n);
}

/** The three places that a derivative is told from. */
const nearest = (known: readonly Known[], distance: (at: number) => number): readonly Known[] => known.toSorted((a, b) => distance(a.at) - distance(b.at)).slice(0, 3);

/** Pull-in voltages over the lowest supply at which an injector was measured (as RED-100 has it). */
const pullInParts = [0.3, 0.4, 0.5, 0.6, 0.7, 0.8];
/** Exponents of -dlnt0/dlnV of pull-in forms: 1.2 to 2.5 with those pull-in voltages, more where closing is taken off. From 1 to 3, rectangular; lumped models: RED-141. */
const usualExponent = 2;
const uExponent = 1 / usualExponent / Math.sqrt(3);

/**
 * dt0/dV at `voltage`. Dead time falls with voltage nearly as a power of it, so neighbouring voltages of the same injector
 * are joined in the logarithms of both; what that misses the pull-in of a coil by, (L/R) ln(V / (V - Vp)), is its uncertainty. Without a neighbour: -2 t0 / V.
 */
export function deadTimeByVoltage(known: readonly Known[], voltage: number, deadTime: number): Sensitivity {
  const positive = known.filter((k) => k.deadTime > 0);
  const joined: Joined = { x: Math.log, y: Math.log, derivative: (exponent, here) => (exponent * here) / voltage, positive: true };
  const value = toldBy(positive, joined, voltage, deadTime);
  if (value === null || value > 0) {
    const usual = (-usualExponent * deadTime) / voltage;
    return { value: usual, u: Math.abs(usual) * uExponent, from: 'default' };
  }
  const near = nearest(positive, (at) => Math.abs(Math.log(at / voltage)));
  const lowest = Math.min(voltage, ...near.map((k) => k.at));
  const forms = pullInParts.map((part): Form => {
    const pullIn = part * lowest;
    return { of: (at) => Math.log(at / (at - pullIn)), slope: (at) => -pullIn / (at * (at - pullIn)) };
  });
  return { value, u: Math.abs(value) * missedBy(forms, near, voltage, joined, uExponent), from: 'neighbours' };
}

const asTheyAre: Joined = { x: (at) => at, y: (deadTime) => deadTime, derivative: (slope) => slope, positive: false };

/** Exponents of the pressure with which dead times may grow. An estimate, no source. */
const pressureForms = [0.5, 1, 2].map((n): Form => ({ of: (at) => at ** n, slope: (at) => n * at ** (n - 1) }));
/** Lumped models of needles that open against the fluid give 2.4 to 8 % of the dead time for 100 kPa at 400 kPa (RED-141). */
const usualByPressure = 0.04 / 1e5;
const uByPressure = 1 / 3;

/**
 * dt0/dp at `pressure`, from neighbouring pressures of the same injector; without one what the plan states of the type (PLAN-80, `stated`: relative, 1/Pa), else 4 % of the dead time for 100 kPa,
 * to a third of itself.
 */
export function deadTimeByPressure(known: readonly Known[], pressure: number, deadTime: number, stated: { readonly relativePerPascal: number; readonly u: number } | null = null): Sensitivity {
  const value = toldBy(known, asTheyAre, pressure, deadTime);
  if (value !== null) return { value, u: Math.abs(value) * missedBy(pressureForms, nearest(known, (at) => Math.abs(at - pressure)), pressure, asTheyAre, uByPressure), from: 'neighbours' };
  if (stated !== null) return { value: stated.relativePerPascal * deadTime, u: stated.u * Math.abs(deadTime), from: 'stated' };
  const usual = usualByPressure * deadTime;
  return { value: usual, u: Math.abs(usual) * uByPressure, from: 'default' };
}

/** Standard uncertainty of what the estimate below leaves out, s: the movements of the needle, and where the clamp is not known the decay. Lumped models of injectors of many sizes: RED-141. */
const neglected = 1.7e-4;
/** By how much opening movements take longer than closing ones, s: they are no electrical time. From the same models, with the clamp's part not in it; they differ by as much as it is. */
const movements = 1e-4;

/**
 * dt0/dT of a copper coil, from dt0/dV. Resistance R and voltage V enter the pull-in time as (L/R) g(R/V): with R larger
 * by a fraction, V might as well be smaller by it and all electrical time shorter by it. Dead time is electrical but for
 * opening and closing movements, which nearly cancel, so dt0/dlnR = -V dt0/dV - t0, to 0.17 ms.
 */
export function deadTimeByTemperature(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp | null = null, told: ByLogResistance | null = null): Sensitivity {
  const byResistance = told ?? deadTimeByLogResistance(byVoltage, voltage, deadTime, clamp);
  return { value: copperPerKelvin * byResistance.value, u: copperPerKelvin * byResistance.u, from: 'coil-model' };
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
function deadTimeByLogResistance(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp | null): ByLogResistance {
  const ofClamp = clamp === null ? { value: 0, u: 0 } : { value: clamp.clampV * clamp.sensitivity.value - movements, u: clamp.clampV * clamp.sensitivity.u };
  // Where the clamp is known the movements are taken off, and are believed no better than to their own size.
  const left = clamp === null ? neglected : movements;
  return { value: -voltage * byVoltage.value - deadTime - ofClamp.value, u: Math.hypot(left, voltage * byVoltage.u, ofClamp.u) };
}

/**
 * dt0/dR of resistance between supply and coil, s/ohm: it stands in series with the coil's own and does to the current what the
 * coil's own does. `coil` is the resistance of the whole circuit, ohm, with its relative standard uncertainty.
 */
export function deadTimeByResistance(byVoltage: Sensitivity, voltage: number, deadTime: number, clamp: ByClamp, circuit: CoilCircuit, told: ByLogResistance | null = null): Sensitivity {
  const { value, u } = told ?? deadTimeByLogResistance(byVoltage, voltage, deadTime, clamp);
  return { value: value / circuit.ohm, u: Math.hypot(u, value * circuit.uRelative) / circuit.ohm, from: 'coil-model' };
}

/** Time constant of the current's decay into the clamp, s, and the hold limit as the coil's voltage drop, V; and how far injectors of many sizes differ from it (RED-141). */
export const decayTau = 0.4e-3;
export const releaseV = 2;
export const uDecay = 0.6;

/**
 * dt0/dD of a clamp to ground at D, s/V. The coil's current decays from V/R towards -(D - V)/R until the needle is let go, at a drop
 * of `releaseV` across the coil's resistance: t = tau ln(D / (D - V + releaseV)), so dt0/dD = -dt/dD =
 * tau (1 / (D - V + releaseV) - 1 / D). tau is far below L/R of the shut injector, because the iron is saturated while it is
 * held and its eddy currents do not end with the coil's.
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
const uWarmer = (15 * copperPerKelvin) / Math.sqrt(3);
/** How well an ammeter of which the record states nothing is believed, relative (EQ-12): a shunt and an amplifier without a certificate. An estimate. */
const uAmmeter = 0.05;

/**
 * The resistance of the circuit from the supply current over the widths of a cell: a pulse longer by dw takes I dw more charge, where
 * I is the current that the resistance allows. `mean` A is that of a whole period. Without readings, or where they make no
 * sense, what the plan states of the coil (`stated`, at 20 degC), else the usual one.
 */
export function coilCircuitOf(windows: readonly { readonly width: number; readonly period: number; readonly mean: number }[], voltage: number, stated: StatedOhm | null, uCurrent = uAmmeter): CoilCircuit {
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
  if (n > 0 && sxx > 0 && ohm > 1 && ohm < 100) return { ohm, uRelative: uCurrent, from: 'current' };
  return stated === null ? usualCircuit : { ohm: stated.ohm, uRelative: Math.hypot(stated.u / stated.ohm, uWarmer), from: 'stated' };
}

/**
 * Standard uncertainty of how much warmer the coil is than the rail's thermometer says, beyond the settled self-heating of
 * its pulses, K, where the record states nothing of it (EQ-13). An estimate: the body stands between fluid and room.
 */
export const uCoilOverRail = 0.2;
