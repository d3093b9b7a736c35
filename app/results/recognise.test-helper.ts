/** Jobs of injectors that are drawn, each measured at two visits, with serial numbers that may be on another one at the second. */
import type { Plan } from '../plan/plan.ts';
import type { RunOfInjectors } from './recognise.ts';
import { drawErrors, madeRun, syntheticEquipment, syntheticInjector, syntheticPlan } from './synthetic-run.test-helper.ts';

export interface JobWish {
  /** Which injector the place i of the second run really has; absent: each its own. */
  readonly really?: readonly number[];
  /** Of the second run; absent: as many as `really` has. */
  readonly injectors?: number;
  /** Of the first run. */
  readonly stock?: number;
  /** Standard deviation of how far production goes: relative of slope; of dead time 20 us for 0.01. */
  readonly spread?: number;
  /** How much injectors change between the visits: 1: 0.1 % and 2 us (standard deviation). */
  readonly wear?: number;
  /** One voltage and no static flow. */
  readonly thin?: boolean;
}

const sixOfAJob = 6;

const planOf = (injectors: number, thin: boolean): Plan => syntheticPlan({ voltageV: thin ? [11, 14] : [9, 11, 14], widthMs: [3, 4, 6, 9], replicates: 2 }, injectors);

export function drawnJob({ really, injectors = really?.length ?? sixOfAJob, stock = sixOfAJob, spread = 0.01, wear = 1, thin = false }: JobWish, normal: () => number): { readonly first: RunOfInjectors; readonly second: RunOfInjectors } {
  const seedOf = (): number => 1 + Math.floor(Math.abs(normal()) * 1e8);
  const drawn = Array.from({ length: stock }, () => ({ flow: 1 + spread * normal(), coil: 1 + spread * normal(), still: 2e-3 * spread * normal() }));
  const changes = drawn.map(() => ({ flow: 1 + 1e-3 * wear * normal(), still: 2e-6 * wear * normal() }));
  const as = (i: number, later: boolean) => {
    const own = drawn[i] ?? { flow: 1, coil: 1, still: 0 };
    const change = later ? (changes[i] ?? { flow: 1, still: 0 }) : { flow: 1, still: 0 };
    const base = syntheticInjector(0);
    return {
      slope: (p: Parameters<typeof base.slope>[0]) => base.slope(p) * own.flow * change.flow,
      deadTime: (...[v, p, warmer]: Parameters<typeof base.deadTime>) => base.deadTime(v, p, warmer) * own.coil + own.still + change.still,
    };
  };
  // The same bench under the same certificates: its errors are the same ones.
  const errors = drawErrors(syntheticEquipment, normal);
  const run = (id: string, count: number, which: (i: number) => number, later: boolean): RunOfInjectors => {
    const plan = planOf(count, thin);
    const made = madeRun({ plan, injector: (i) => as(which(i), later), errors, seed: seedOf() });
    return { id, equipment: made.equipment, order: 'O-1', types: new Map(plan.injectors.map(({ serialNumber, type }) => [serialNumber, type])), reduction: made.reduction };
  };
  const first = run('first', stock, (i) => i, false);
  return { first, second: run('second', injectors, (i) => really?.[i] ?? i, true) };
}
