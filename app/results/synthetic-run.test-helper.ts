/** Reduced runs with known injectors. */
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { drawErrors, noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import type { InstrumentErrors, SyntheticInjector, SyntheticScatter } from '../reduce/synthetic.test-helper.ts';
import type { CountingAttempt } from '../reduce/reduction.ts';
import { resultsOf } from './run-results.ts';
import type { RunResults } from './run-results.ts';

export interface MadeRun {
  readonly plan?: Plan;
  readonly keep?: (point: Point) => boolean;
  readonly injector?: (index: number) => SyntheticInjector;
  readonly errors?: InstrumentErrors;
  readonly scatter?: SyntheticScatter;
  readonly seed?: number;
}

export const fourInjectors = syntheticPlan({ voltageV: [9, 12, 14] }, 4);
const usualScatter: SyntheticScatter = { relative: 1e-3, width: 5e-7, voltage: 0.005, pressure: 300, warmer: 0.5 };
export { drawErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan };

export function madeAttempts({ plan = fourInjectors, keep = () => true, injector = syntheticInjector, errors = noErrors, scatter = usualScatter, seed = 7 }: MadeRun = {}): readonly CountingAttempt[] {
  const normal = normalFrom(seed);
  // Those that are left out take their chance as well, so that the others stay what they are.
  return expandPlan(plan)
    .map((at) => ({ at, point: at.index, attempt: 1, window: syntheticWindow(at, injector(at.injector), plan, syntheticEquipment, errors, scatter, normal) }))
    .filter(({ at }) => keep(at))
    .map(({ point, attempt, window }) => ({ point, attempt, window }));
}

export function madeRun(made: MadeRun = {}): RunResults {
  const plan = made.plan ?? fourInjectors;
  return resultsOf({ id: `run-${made.seed ?? 7}`, plan, equipment: syntheticEquipment, points: expandPlan(plan), attempts: madeAttempts(made) });
}

/** The cell of an injector and voltage, which must have a line. */
export function lineAt(run: RunResults, injector: number, voltage: number) {
  const cell = run.reduction.cells.find((c) => c.injector === injector && c.voltage === voltage);
  if (cell?.kind !== 'line') throw new Error('no line');
  return cell;
}
