/**
 * What injectors of a type are like, over all runs in which any was measured: their mean, how they really differ, with the part of what was seen taken out that
 * measuring them alone would show, and an interval that holds 95 % of all there are with 95 % confidence. CMP-7 to CMP-10.
 */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import { chiSquareQuantile } from '../distributions/distributions.ts';
import { figure, plain, plusMinus } from '../quantities/figures.ts';
import { twoSidedFactor } from '../statistics/tolerance.ts';
import type { Result } from '../uncertainty/budget.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { shownQuantities, statedQuantities } from './agreement.ts';
import { carriedIn } from './across-runs.ts';
import type { RunOfErrors } from './across-runs.ts';
import { deviationsFromMean, meanOf } from '../uncertainty/set.ts';

export type TypedRun = RunOfErrors & { readonly types: readonly string[]; readonly reduction: Pick<Reduction, 'cells' | 'staticFlows'> };

export interface TypeSpread {
  readonly quantity: 'dead-time' | 'slope' | 'static-flow';
  readonly voltage: number;
  readonly pressure: number;
  /** s; 0: held open. */
  readonly period: number;
  readonly injectors: number;
  /** Results that these were made of: several runs of one injector are its mean. */
  readonly results: number;
  /** Mean of the injectors that were measured, with what instruments leave unknown of it. */
  readonly mean: Result;
  /** Standard deviations: as seen, what measuring alone shows of it, and what is left for the injectors. */
  readonly seen: number;
  readonly measuring: number;
  readonly left: number;
  /** Holds 95 % of all injectors of the type with 95 % confidence; null: fewer than three. Factor of the seen standard deviation (ISO 16269-6). */
  readonly tolerance: { readonly low: number; readonly high: number; readonly factor: number } | null;
}

const share = 0.95;
/** Fewer tell nothing of a type. */
const fewest = 3;

interface Place {
  readonly quantity: TypeSpread['quantity'];
  readonly voltage: number;
  readonly pressure: number;
  readonly period: number;
  /** By serial number. */
  readonly found: Map<string, Carried[]>;
}

/** One for each quantity and place at which two injectors of the type or more have a result. `types` of a run: that of each injector of its plan. */
export function typeSpreads(runs: Iterable<TypedRun>, type: string): readonly TypeSpread[] {
  const places = new Map<string, Place>();
  const add = (place: Omit<Place, 'found'>, serial: string, of: Carried): void => {
    const key = `${place.quantity}|${place.pressure}|${place.period}|${place.voltage}`;
    const known = places.get(key) ?? { ...place, found: new Map<string, Carried[]>() };
    places.set(key, known);
    known.found.set(serial, [...(known.found.get(serial) ?? []), of]);
  };
  for (const run of runs) {
    for (const cell of run.reduction.cells) {
      if (cell.kind === 'no-line' || run.types[cell.injector] !== type) continue;
      const { voltage, pressure, period, serialNumber } = cell;
      add({ quantity: 'dead-time', voltage, pressure, period }, serialNumber, carriedIn(run, deadTimeCarried(cell)));
      add({ quantity: 'slope', voltage, pressure, period }, serialNumber, carriedIn(run, slopeCarried(cell)));
    }
    for (const flow of run.reduction.staticFlows) {
      if (flow.kind === 'static-flow' && run.types[flow.injector] === type) add({ quantity: 'static-flow', voltage: flow.voltage, pressure: flow.pressure, period: 0 }, flow.serialNumber, carriedIn(run, staticCarried(flow)));
    }
  }
  return [...places.values()]
    .filter(({ found }) => found.size >= 2)
    .sort((a, b) => statedQuantities.indexOf(a.quantity) - statedQuantities.indexOf(b.quantity) || a.pressure - b.pressure || a.period - b.period || a.voltage - b.voltage)
    .map(({ found, ...place }) => ({ ...place, results: [...found.values()].flat().length, ...typeSpreadOf([...found.values()].map(meanOf)) }));
}

/**
 * `members`: one value for each injector, two at least. What measuring adds is told by their budgets: the mean square of each member's distance from the mean that its
 * errors alone make, in which what all have in common cancels. The interval takes the lower end of what measuring may have shown off the upper end of
 * what was seen, so that it is exact where measuring adds nothing.
 */
export function typeSpreadOf(members: readonly Carried[]): Omit<TypeSpread, 'quantity' | 'voltage' | 'pressure' | 'period' | 'results'> {
  const n = members.length;
  const mean = stateCarried(meanOf(members));
  const deviations = deviationsFromMean(members);
  const seen2 = deviations.reduce((sum, d) => sum + d.value ** 2, 0) / (n - 1);
  const measuring2 = deviations.reduce((sum, d) => sum + stateCarried(d).u ** 2, 0) / (n - 1);
  const base = { injectors: n, mean, seen: Math.sqrt(seen2), measuring: Math.sqrt(measuring2), left: Math.sqrt(Math.max(0, seen2 - measuring2)) };
  if (n < fewest) return { ...base, tolerance: null };
  const factor = twoSidedFactor({ n, content: share, confidence: share });
  const least = chiSquareQuantile(1 - share, n - 1) / (n - 1);
  // All of them may lie to one side by as much as the mean is not known; a root of squares would hold too little where that is most of it.
  const half = factor * Math.sqrt(Math.max(0, seen2 - measuring2 * least)) + mean.expanded;
  return { ...base, tolerance: { low: mean.value - half, high: mean.value + half, factor } };
}

/** A verdict in a sentence or two. */
export function spreadWords({ quantity, voltage, pressure, injectors, mean, seen, measuring, left, tolerance }: Omit<TypeSpread, 'results' | 'period'>): string {
  const { name, unit, factor } = shownQuantities[quantity];
  const shown = (value: number): string => figure(value * factor, mean.u * factor);
  const place = `${name.charAt(0).toUpperCase()}${name.slice(1)} at ${plain(voltage)} V and ${plain(pressure / 1e3)} kPa of ${injectors} injectors: mean ${plusMinus(mean.value * factor, mean.expanded * factor)} ${unit}.`;
  const differ = left === 0 ? `They differ by ${shown(seen)} ${unit} (standard deviation), no more than measuring them explains (${shown(measuring)} ${unit}): no spread of the type is shown.` : `They differ by ${shown(left)} ${unit} (standard deviation, without the ${shown(measuring)} ${unit} of measuring).`;
  const hold = tolerance === null ? 'Too few to say where others lie: measure three at least.' : `With 95 % confidence 95 % of all of the type lie between ${shown(tolerance.low)} and ${shown(tolerance.high)} ${unit}, if they are normally distributed.`;
  return `${place} ${differ} ${hold}`;
}
