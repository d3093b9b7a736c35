/** Zero points of a plan: whether there are any, and how long they are (PLAN-40 to PLAN-45 in README.md). */
import type { BenchCapabilities } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { seconds } from '../quantities/quantity.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';

/** Of the time of the measure points; with rest, set-up and period pairs the loss stays under 5 % (PLAN-45). */
const share = 0.04;
const shortestS = 10;
const longestS = 60;
/** From the end of one point to its neighbour's first pulse, about. */
const betweenPointsS = 0.3;

/** What of a plan decides on the length of its zero points. */
export type ZeroPlan = Pick<Plan, 'injectors' | 'axes' | 'purge' | 'settleS' | 'window' | 'zero' | 'targets'>;

export function hasZeroPoints(plan: Pick<Plan, 'zero'>): boolean {
  return plan.zero.windowS !== 0;
}

/** Length of every zero point of the plan; from the plan alone, so that it is the same for all time (PLAN-45). */
export function zeroWindow(plan: ZeroPlan): Seconds {
  if (plan.zero.windowS !== undefined) return seconds(plan.zero.windowS);
  // How long a run with targets takes nobody knows before; few and long ones cost the least beside their rest. PLAN-91
  if (plan.targets !== undefined) return seconds(longestS);
  const { injectors, axes, purge, settleS, window } = plan;
  const points = injectors.length * axes.voltageV.length * axes.pressureKpa.length * axes.widthMs.length * axes.periodMs.length * axes.replicates;
  const purgeS = purge.when === 'each-window' ? (purge.pulses * purge.periodMs) / 1e3 : 0;
  const pointS = purgeS + settleS + window.minS + betweenPointsS;
  const zeros = axes.pressureKpa.length * (axes.voltageV.length + 1);
  const each = (share * points * pointS) / zeros - plan.zero.settleS;
  return seconds(Math.min(Math.max(Math.round(each), shortestS), longestS));
}

/** Meter edges that a window of this role needs: at twice the period half of them come in the same time (PLAN-44, PLAN-73). */
export function pairEdges(minEdges: number, role: Point['role']): number {
  return role === 'pair' || role === 'invariance' ? Math.max(2, Math.ceil(minEdges / 2)) : minEdges;
}

/**
 * Whether each zero point also shuts the rail off and watches its pressure fall: where the meter stands still below some flow, so
 * that it cannot see a small leak, and the bench has the valve (RUN-107).
 */
export function decaysPressure(plan: Pick<Plan, 'zero'>, equipment: Pick<Equipment, 'meter'>, capabilities: Pick<BenchCapabilities, 'rail'> | null): boolean {
  return hasZeroPoints(plan) && plan.zero.decayS > 0 && equipment.meter.leastHertz !== undefined && capabilities?.rail?.shutOff === true;
}
