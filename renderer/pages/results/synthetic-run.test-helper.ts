/** Reduced runs with known injectors for tests of the pages. */
import { expandPlan } from '../../../app/plan/expand.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { drawErrors, noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../../app/reduce/synthetic.test-helper.ts';
import type { InstrumentErrors, SyntheticInjector, SyntheticScatter } from '../../../app/reduce/synthetic.test-helper.ts';
import { reduceForPage } from './results.ts';
import type { RunResults } from './results.ts';

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

export function madeRun({ plan = fourInjectors, keep = () => true, injector = syntheticInjector, errors = noErrors, scatter = usualScatter, seed = 7 }: MadeRun = {}): RunResults {
  const normal = normalFrom(seed);
  const attempts = expandPlan(plan).map((point) => ({
    point: point.index,
    attempt: 1,
    window: syntheticWindow(point, injector(point.injector), plan, syntheticEquipment, errors, scatter, normal),
    at: point,
  }));
  return reduceForPage({ plan, equipment: syntheticEquipment, attempts: attempts.filter(({ at }) => keep(at)).map(({ point, attempt, window }) => ({ point, attempt, window })) });
}

/** The cell of an injector and voltage, which must have a line. */
export function lineAt(run: RunResults, injector: number, voltage: number) {
  const cell = run.reduction.cells.find((c) => c.injector === injector && c.voltage === voltage);
  if (cell?.kind !== 'line') throw new Error('no line');
  return cell;
}
