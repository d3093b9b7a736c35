/** How flow grows with pressure: the exponent b of k = c p^b, which is 0.5 for an orifice. RED-35. */
import { chiSquareQuantile } from '../distributions/distributions.ts';
import { combine, sharedPart, stateCarried, withPart } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { Carried } from '../uncertainty/carried.ts';
import type { Result } from '../uncertainty/budget.ts';
import { slopeCarried } from './carried-line.ts';
import { fitLine } from './regression.ts';
import type { Reduction } from './reduction.ts';
import { staticCarried } from './static-flow.ts';

export interface PressureExponent {
  readonly kind: 'exponent';
  readonly injector: number;
  readonly serialNumber: string;
  /** What it was fitted to: the slopes at one voltage and period, or the static flows. */
  readonly of: { readonly quantity: 'slope'; readonly voltage: number; readonly period: number } | { readonly quantity: 'static-flow' };
  readonly pressures: readonly number[];
  readonly exponent: Result;
  /** Whether 0.5 lies inside the 95 % interval. */
  readonly agreesWithOrifice: boolean;
  /** Whether the flows follow one power of pressure: asked where there are three pressures or more (chi-square of what they stand off it, 5 %). */
  readonly fit: 'one-power' | 'other-shape' | 'not-tested';
}

export interface NoPressureExponent {
  readonly kind: 'no-exponent';
  readonly injector: number;
  readonly serialNumber: string;
  readonly reason: 'one-pressure';
  readonly text: string;
}

/** Exponent through flows (any unit) at pressures (any unit): least squares in the logarithms, all of equal weight. */
export function fitExponent(pressures: readonly number[], flows: readonly number[]): number {
  return fitLine(pressures.map(Math.log), flows.map(Math.log), null, 'known').slope;
}

/** For each injector, by slopes at each voltage and period and by static flows, where two pressures or more are there. */
export function pressureExponents(reduction: Reduction): readonly (PressureExponent | NoPressureExponent)[] {
  const groups = new Map<string, { readonly injector: number; readonly serialNumber: string; readonly of: PressureExponent['of']; readonly flows: { readonly pressure: number; readonly flow: Carried }[] }>();
  const add = (key: string, injector: number, serialNumber: string, of: PressureExponent['of'], pressure: number, flow: Carried): void => {
    const group = groups.get(key) ?? { injector, serialNumber, of, flows: [] };
    group.flows.push({ pressure, flow });
    groups.set(key, group);
  };
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') continue;
    const { injector, serialNumber, voltage, period, pressure } = cell;
    add(`${injector}|${voltage}|${period}`, injector, serialNumber, { quantity: 'slope', voltage, period }, pressure, slopeCarried(cell));
  }
  for (const s of reduction.staticFlows) {
    if (s.kind === 'static-flow') add(`${s.injector}|static`, s.injector, s.serialNumber, { quantity: 'static-flow' }, s.pressure, staticCarried(s));
  }
  return [...groups.values()].map(({ injector, serialNumber, of, flows }) => {
    if (flows.length < 2) {
      return { kind: 'no-exponent', injector, serialNumber, reason: 'one-pressure', text: 'One pressure alone has no exponent. Measure at least two.' };
    }
    return exponentOf(injector, serialNumber, of, flows);
  });
}

function exponentOf(injector: number, serialNumber: string, of: PressureExponent['of'], flows: readonly { readonly pressure: number; readonly flow: Carried }[]): PressureExponent {
  const x = flows.map((f) => Math.log(f.pressure));
  const meanX = x.reduce((sum, v) => sum + v, 0) / x.length;
  const sxx = x.reduce((sum, v) => sum + (v - meanX) ** 2, 0);
  const fitted = fitExponent(flows.map((f) => f.pressure), flows.map((f) => f.flow.value));
  const weights = x.map((v) => (v - meanX) / sxx);
  const carried = combine(fitted, flows.map(({ flow }, i) => ({ of: flow, sensitivity: (weights[i] ?? 0) / flow.value })));
  const key = errorSource('rail-pressure').key;
  // Relative, of each flow: all that is new at each pressure, with the transducer's error, of which nobody says how much is one offset.
  const ofPressure = flows.map(({ flow }) => (flow.parts.get(key)?.effect ?? 0) / flow.value);
  const offset = carried.parts.get(key)?.effect ?? 0;
  const apart = Math.hypot(...ofPressure.map((effect, i) => (weights[i] ?? 0) * effect));
  const level = flows.reduce((sum, { flow }) => sum + Math.log(flow.value), 0) / flows.length;
  const residuals = flows.map(({ flow }, i) => Math.log(flow.value) - level - fitted * ((x[i] ?? meanX) - meanX));
  const own = flows.map(({ flow }, i) => Math.hypot(ofPressure[i] ?? 0, stateCarried(flow).uRandom / flow.value));
  const dof = flows.length - 2;
  const typical = own.reduce((sum, u) => sum + u * u, 0) / own.length;
  const squares = residuals.reduce((sum, r) => sum + r * r, 0);
  const fit = dof < 1 ? 'not-tested' : squares > typical * chiSquareQuantile(0.95, dof) ? 'other-shape' : 'one-power';
  const bent = fit === 'other-shape' ? Math.sqrt(Math.max(0, squares / dof - typical) / sxx) : 0;
  const wider = Math.hypot(Math.sqrt(Math.max(0, apart ** 2 - offset ** 2)), bent);
  const exponent = stateCarried(withPart(carried, sharedPart(errorSource('interpolation', 'pressure exponent'), wider)));
  return {
    kind: 'exponent',
    injector,
    serialNumber,
    of,
    pressures: flows.map((f) => f.pressure),
    exponent,
    agreesWithOrifice: Math.abs(exponent.value - 0.5) <= exponent.expanded,
    fit,
  };
}
