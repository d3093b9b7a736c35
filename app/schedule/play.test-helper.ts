/** Plays a plan with targets on a bench of made windows until its schedule adds nothing. */
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import type { CountingAttempt } from '../reduce/reduction.ts';
import { noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import type { SyntheticInjector } from '../reduce/synthetic.test-helper.ts';
import { decideNext } from './schedule.ts';
import type { ScheduleDecision } from './schedule.ts';

const scatter = { relative: 1e-3, width: 1e-6, voltage: 0, pressure: 300, warmer: 0.5 };
const widthMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
type Wanted = NonNullable<Plan['targets']>;

export const planOf = (targets: Partial<Wanted>, more: Partial<Plan> = {}, injectors = 3): Plan => ({
  ...syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs, replicates: 1 }, injectors),
  targets: { deadTimeUs: 6, atVoltage: [], hours: 24, attemptsPerCell: 60, known: [], ...targets },
  ...more,
});

/** Pulses shorter than this pass more than their line says, by their open time, s. */
export const bentBelow = (reach: number) => (index: number, voltage: number): SyntheticInjector => {
  const straight = syntheticInjector(index);
  const deadTime = straight.deadTime(voltage as never, 4e5 as never);
  return { ...straight, bend: (width) => (width - deadTime < reach ? 5e-8 : 0) };
};

interface Play {
  readonly seed?: number;
  readonly out?: readonly number[];
  readonly fails?: (point: Point) => boolean;
  readonly until?: number;
  /** Of what a window delivers. */
  readonly relative?: number;
}

interface Played {
  readonly points: readonly Point[];
  readonly attempts: readonly CountingAttempt[];
  readonly decisions: readonly ScheduleDecision[];
}

/** Measures what is decided until nothing is added; `fails`: points that never have an accepted attempt. */
export function play(plan: Plan, injector: (index: number, voltage: number) => SyntheticInjector, { seed = 1, out = [], fails = () => false, until = Infinity, relative = scatter.relative }: Play = {}): Played {
  const normal = normalFrom(seed);
  let points = expandPlan(plan);
  const attempts: CountingAttempt[] = [];
  const decisions: ScheduleDecision[] = [];
  let measured = 0;
  while (decisions.length < until) {
    for (const at of points.slice(measured)) {
      if (at.role !== 'zero' && !fails(at)) attempts.push({ point: at.index, attempt: 1, window: syntheticWindow(at, injector(at.injector, at.voltage), plan, syntheticEquipment, noErrors, { ...scatter, relative }, normal) });
    }
    measured = points.length;
    const decision = decideNext({ plan, equipment: syntheticEquipment, points, attempts, out: new Set(out) });
    decisions.push(decision);
    if (decision.additions.length === 0) break;
    points = [...points, ...decision.additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: measured + i }))];
    if (decisions.length > 300) throw new Error('it does not come to an end');
  }
  return { points, attempts, decisions };
}

export const straight = (index: number): SyntheticInjector => syntheticInjector(index);
export const rulesOf = (decision: ScheduleDecision | undefined): readonly string[] => [...new Set(decision?.additions.map((a) => a.rule))];
