/** One injector over all its runs: its results at each place, and how they changed since the first, with what is known of that change. WIN-64 */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import type { Result } from '../uncertainty/budget.ts';
import { combine, stateCarried, type Carried } from '../uncertainty/carried.ts';
import { carriedIn, type RunOfErrors } from './across-runs.ts';
import { statedQuantities } from './agreement.ts';

export type RunOfLife = RunOfErrors & { readonly reduction: Pick<Reduction, 'cells' | 'staticFlows'> };

interface LifeResult {
  readonly run: string;
  /** SI units. */
  readonly result: Result;
  /** Less that of the first run with a result here, errors of instruments that both runs share taken out by name; null: it is the first. */
  readonly change: Result | null;
}

export interface LifePlace {
  readonly quantity: (typeof statedQuantities)[number];
  readonly voltage: number;
  readonly pressure: number;
  /** s; 0: held open. */
  readonly period: number;
  /** In the order of the runs. */
  readonly results: readonly LifeResult[];
}

/** `runs`: the oldest first; those without the injector are passed over. Places in the order of quantity, pressure, period, voltage. */
export function lifeOf(runs: Iterable<RunOfLife>, serialNumber: string): readonly LifePlace[] {
  const places = new Map<string, { readonly place: Omit<LifePlace, 'results'>; readonly found: { readonly run: string; readonly of: Carried }[] }>();
  for (const run of runs) {
    const add = (place: Omit<LifePlace, 'results'>, of: Carried): void => {
      const key = `${place.quantity}|${place.pressure}|${place.period}|${place.voltage}`;
      const known = places.get(key) ?? { place, found: [] };
      places.set(key, known);
      known.found.push({ run: run.id, of: carriedIn(run, of) });
    };
    for (const cell of run.reduction.cells) {
      if (cell.kind === 'no-line' || cell.serialNumber !== serialNumber) continue;
      const { voltage, pressure, period } = cell;
      add({ quantity: 'dead-time', voltage, pressure, period }, deadTimeCarried(cell));
      add({ quantity: 'slope', voltage, pressure, period }, slopeCarried(cell));
    }
    for (const flow of run.reduction.staticFlows) {
      if (flow.kind === 'static-flow' && flow.serialNumber === serialNumber) add({ quantity: 'static-flow', voltage: flow.voltage, pressure: flow.pressure, period: 0 }, staticCarried(flow));
    }
  }
  return [...places.values()]
    .map(({ place, found }): LifePlace => ({ ...place, results: found.map(({ run, of }, i) => ({ run, result: stateCarried(of), change: i === 0 ? null : changeSince(found[0]?.of, of) })) }))
    .sort((a, b) => statedQuantities.indexOf(a.quantity) - statedQuantities.indexOf(b.quantity) || a.pressure - b.pressure || a.period - b.period || a.voltage - b.voltage);
}

const changeSince = (first: Carried | undefined, now: Carried): Result | null => (first === undefined ? null : stateCarried(combine(now.value - first.value, [{ of: now, sensitivity: 1 }, { of: first, sensitivity: -1 }])));
