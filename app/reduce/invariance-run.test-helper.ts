/** For tests: runs with an invariance set and blind windows, from synthetic windows. */
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import { planSchema } from '../plan/plan.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { seconds } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { reduceRun } from './reduce.ts';
import type { CountingAttempt, InvarianceMember, LineCell, Reduction } from './reduction.ts';
import { drawErrors, noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';
import type { SyntheticInjector, SyntheticScatter } from './synthetic.test-helper.ts';

/** Three injectors at three voltages, with a set and pairs; `change`: fields of the plan. */
export const planOfSet = (change: Record<string, unknown> = {}, axes: Partial<Plan['axes']> = {}, injectors = 3): Plan =>
  planSchema.parse({
    ...syntheticPlan({ voltageV: [9, 12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12], ...axes }, injectors),
    invariance: { percent: 12 },
    pair: { windows: 1 },
    ...change,
  });
const plan = planOfSet();
/** A good bench, a little warm. */
const still: SyntheticScatter = { relative: 4e-4, width: 3e-7, voltage: 0.005, pressure: 400, warmer: 0.3 };

export interface MadeOfSet {
  /** 0: the instruments are right. */
  readonly seed?: number;
  readonly of?: Plan;
  readonly equipment?: Equipment;
  /** Changes a window that the bench would have given; `before`: the point before it, `part`: how much of the run is over. */
  readonly change?: (window: WindowSummary, point: Point, before: Point | undefined, part: number) => WindowSummary;
  readonly injector?: (index: number) => SyntheticInjector;
  /** What was really driven at a point, beside what the plan says. */
  readonly driven?: (point: Point) => Partial<Point>;
  readonly scatter?: (point: Point) => SyntheticScatter;
  /** Of blind windows: what the width is shifted by, s, and how much more they scatter. */
  readonly shift?: (point: Point) => number;
  readonly scatterTimes?: number;
  /** In which order the attempts are handed over. */
  readonly handedOver?: (attempts: readonly CountingAttempt[], points: readonly Point[]) => readonly CountingAttempt[];
}

export function reducedSet({ seed = 1, of = plan, equipment = syntheticEquipment, change = (window) => window, injector = syntheticInjector, driven = () => ({}), scatter = () => still, shift = () => 0, scatterTimes = 1, handedOver = (attempts) => attempts }: MadeOfSet): Reduction {
  const normal = normalFrom(seed);
  const points = expandPlan(of);
  const errors = seed === 0 ? noErrors : drawErrors(equipment, normal);
  const attempts = points.map((point, i): CountingAttempt => {
    const secret = point.role === 'blind' ? shift(point) : 0;
    const times = point.role === 'blind' ? scatterTimes : 1;
    const white = scatter(point);
    const at = { ...point, width: seconds(point.width + secret), ...driven(point) };
    const window = syntheticWindow(at, injector(point.injector), of, equipment, errors, { ...white, relative: times * white.relative, width: times * white.width }, normal);
    return { point: point.index, attempt: 1, window: change(window, point, points[i - 1], i / points.length), order: i, ...(point.role === 'blind' ? { blindShift: seconds(secret) } : {}) };
  });
  return reduceRun({ plan: of, equipment, points, attempts: handedOver(attempts, points) });
}

/** The same edges in a time that is shorter by a part: so much more flow. */
export const moreFlow = (window: WindowSummary, part: number): WindowSummary => ({ ...window, lastEdgeAt: seconds(window.firstEdgeAt + (window.lastEdgeAt - window.firstEdgeAt) / (1 + part)) });

export function memberOf({ invariance }: Reduction, name: InvarianceMember['of']): InvarianceMember {
  const found = invariance.members.find((m) => m.of === name);
  if (found === undefined) throw new Error(`no ${name}`);
  return found;
}

export const calledIn = ({ invariance }: Reduction): readonly string[] => invariance.members.filter((m) => m.called).map((m) => m.of);
export const linesOfRun = ({ cells }: Reduction): readonly LineCell[] => cells.flatMap((c) => (c.kind === 'line' ? [c] : []));
