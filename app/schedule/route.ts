/** In which order cells are gone to, so that changes of injector and voltage between them take the least bench time (SCH-45). */
import type { Plan } from '../plan/plan.ts';
import { supplyChange } from '../plan/estimate.ts';
import type { Volts } from '../quantities/quantity.ts';

/** What is set for a cell: its injector and voltage. */
export interface Setting {
  readonly injector: number;
  readonly voltage: Volts;
}

/** Bench time between windows of two cells of one pressure beyond what each window takes, s: a purge where the injector changes (RUN-230), the supply on its way where the voltage does. `from` null: none was driven before. */
export function changeBetween(plan: Pick<Plan, 'purge' | 'supply' | 'link'>, from: Setting | null, to: Setting): number {
  const purge = from?.injector === to.injector ? 0 : plan.purge.pulses * plan.purge.periodMs * 1e-3;
  return purge + (from === null ? 0 : supplyChange(plan, from.voltage, to.voltage));
}

/**
 * All of `cells`, each once: always that which is the soonest to be set is next, among equals the first of the list; then turned round in parts as long as that takes time off
 * (nearest neighbour and 2-opt: Croes 1958, from memory). From the same list and beginning always the same.
 */
export function cellRoute<C>(cells: readonly C[], placeOf: (cell: C) => Setting, from: Setting | null, plan: Pick<Plan, 'purge' | 'supply' | 'link'>): readonly C[] {
  const cost = (one: C | undefined, other: C): number => changeBetween(plan, one === undefined ? from : placeOf(one), placeOf(other));
  const left = [...cells];
  const route: C[] = [];
  while (left.length > 0) {
    const costs = left.map((cell) => cost(route.at(-1), cell));
    route.push(...left.splice(costs.indexOf(Math.min(...costs)), 1));
  }
  return turned(route, cost);
}

/** Less is no gain but rounding, s. */
const leastGain = 1e-6;

function turned<C>(begin: readonly C[], cost: (one: C | undefined, other: C) => number): readonly C[] {
  const route = [...begin];
  for (let found = true; found; ) {
    found = false;
    for (let i = 0; i < route.length - 1; i += 1) {
      for (let j = i + 1; j < route.length; j += 1) {
        const [first, last, after] = [route[i], route[j], route[j + 1]];
        if (first === undefined || last === undefined) continue;
        const gain = cost(route[i - 1], first) - cost(route[i - 1], last) + (after === undefined ? 0 : cost(last, after) - cost(first, after));
        if (gain <= leastGain) continue;
        route.splice(i, j - i + 1, ...route.slice(i, j + 1).reverse());
        found = true;
      }
    }
  }
  return route;
}
