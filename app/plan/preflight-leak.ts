/** Lines PRE-30 to PRE-34 of the sheet: what a run will see of a leak, and guards that could never act. */
import type { BenchCapabilities } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { kilopascals } from '../quantities/quantity.ts';
import type { KilogramsPerSecond } from '../quantities/quantity.ts';
import type { PreflightLine } from './preflight-line.ts';
import { edgesPerMillilitre, idleFlowRest, idleFlowSpan } from '../bench/idle-flow.ts';
import { estimateRun, expectedEdgeRate, expectedWindow } from './estimate.ts';
import { flowAtPressure, roughDensity } from './flow-of-type.ts';
import type { ExpectedFlow } from './flow-of-type.ts';
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';
import { decaysPressure, hasZeroPoints, zeroWindow } from './zero.ts';

type Finding = Omit<PreflightLine, 'rule'>;

const pass = (text: string): Finding => ({ result: 'pass', text });
const warn = (text: string): Finding => ({ result: 'warn', text });
const refuse = (text: string): Finding => ({ result: 'refuse', text });

/** Scatter of single readings of a rail pressure, Pa, for an estimate before any was taken; common practice, no source. */
const pressureScatter = 200;
/** With this much of the bench time spent on leaks nobody will mind, percent. */
const smallShare = 5;

interface LeakContext {
  readonly capabilities: BenchCapabilities | null;
  readonly equipment: Equipment;
  readonly flowOf: ExpectedFlow;
  /** Of the whole run, as estimated. */
  readonly durationS: number;
}

/** By rule. `points` is the expansion of the plan. */
export function leakFindings(plan: Plan, points: readonly Point[], context: LeakContext): Readonly<Record<string, Finding>> {
  const { equipment, capabilities } = context;
  const decay = decaysPressure(plan, equipment, capabilities);
  return {
    'PRE-30': smallestLeak(plan, points, context),
    'PRE-31': timeForWanted(plan, context),
    'PRE-32': leastFlow(plan, context, decay),
    'PRE-33': guardsThatCannotAct(plan, points, context),
    'PRE-34': costOfLeaks(plan, points, context),
  };
}

/** mL/min of which a meter gives one edge in `time` seconds. */
const oneEdge = ({ equipment }: LeakContext, time: number): number => 60 / (edgesPerMillilitre(equipment.meter.kFactor) * time);

/** How much a leak of 1 mL/min moves the dead time of the plan's longest period, s: X moves by L P / k. */
function deadTimePerLeak(plan: Plan, { flowOf }: LeakContext): number {
  const period = Math.max(...plan.axes.periodMs) / 1e3;
  // The slope is least of the smallest injector, at the lowest pressure.
  const slope = flowAtPressure(Math.min(...plan.injectors.map((_, i) => flowOf(i))) as KilogramsPerSecond, kilopascals(Math.min(...plan.axes.pressureKpa)));
  return ((1e-6 / 60) * roughDensity * period) / slope;
}

function moved(plan: Plan, context: LeakContext, leak: number): string {
  return `${short(leak)} mL/min, which moves the dead time by ${short(leak * deadTimePerLeak(plan, context) * 1e6)} us at a period of ${Math.max(...plan.axes.periodMs)} ms`;
}

function smallestLeak(plan: Plan, points: readonly Point[], context: LeakContext): Finding {
  const pairs = points.filter(({ role }) => role === 'pair').length;
  const also = pairs > 0 ? ` ${pairs} period pairs show a leak that is many times as large without a wait.` : '';
  if (!hasZeroPoints(plan)) {
    return warn(`The plan has no zero points, so fluid that leaks past the injectors is not seen and counts as theirs.${also} Leave zero.windowS empty, or give it a length.`);
  }
  const zeros = points.filter(({ role }) => role === 'zero').length;
  const length = zeroWindow(plan);
  return pass(
    `${zeros} zero points of ${short(length)} s each, all injectors shut. The smallest leak that one of them sees is ${moved(plan, context, oneEdge(context, length))}; all of them together see ${short(oneEdge(context, zeros * length))} mL/min of a leak that is always the same, and idle time adds to that at no cost.${also}`,
  );
}

function timeForWanted(plan: Plan, context: LeakContext): Finding {
  const wanted = (plan.zero.deadTimeUs * 1e-6) / deadTimePerLeak(plan, context);
  const needed = oneEdge(context, 1) / wanted;
  const text = `To see every leak that moves the dead time by ${plan.zero.deadTimeUs} us or more (${short(wanted)} mL/min) takes ${short(needed)} s of zero flow at a stretch`;
  if (!hasZeroPoints(plan)) return warn(`${text}; the plan has none.`);
  const length = zeroWindow(plan);
  return length >= needed * (1 - 1e-9)
    ? pass(`${text}; the zero points last ${short(length)} s.`)
    : warn(`${text}; the zero points last ${short(length)} s. What may go unseen enters the uncertainty. Set zero.windowS to ${Math.ceil(needed)} for the wanted uncertainty, or allow more in zero.deadTimeUs.`);
}

function leastFlow(plan: Plan, context: LeakContext, decay: boolean): Finding {
  const { equipment, capabilities } = context;
  const { leastHertz } = equipment.meter;
  if (leastHertz === undefined) {
    return pass('The equipment record states no least flow of the meter (meter.leastHertz), so it is taken to see every flow. If it stands still below some flow, state it: a smaller leak goes unseen.');
  }
  const silent = (leastHertz / edgesPerMillilitre(equipment.meter.kFactor)) * 60;
  const blind = `The meter gives no edge below ${short(leastHertz)} Hz, so it cannot see a leak of less than ${moved(plan, context, silent)}`;
  if (decay) {
    if (equipment.rail === undefined) return warn(`${blind}. The rail is shut off at each zero point and the fall of its pressure is recorded, but without the rail's compliance in the equipment record (rail) it cannot be turned into a leak.`);
    const frames = plan.zero.decayS * plan.link.telemetryHz;
    const slope = (pressureScatter * Math.sqrt(12 / frames)) / plan.zero.decayS;
    const seen = 2 * slope * equipment.rail.complianceMlPerMpa * 1e-6 * 60;
    return pass(`${blind}. At each zero point the rail is shut off for ${plan.zero.decayS} s as well: the fall of its pressure sees ${moved(plan, context, seen)} (k = 2), while the temperature of the rail stays.`);
  }
  const why =
    capabilities === null
      ? 'Whether the bench can shut the rail off is not known, because no bench is connected'
      : capabilities.rail?.shutOff === true
        ? 'The plan does without the pressure decay (zero.windowS, zero.decayS)'
        : 'This bench cannot shut its rail off, so there is no pressure decay either';
  return warn(`${blind}. ${why}. A smaller leak shows in the period pairs only.`);
}

/** Longest time, s, for which the signal of a guard is looked at without a break, by the plan's own timing. */
function guardsThatCannotAct(plan: Plan, points: readonly Point[], context: LeakContext): Finding {
  const { equipment, flowOf, durationS } = context;
  const purgeS = (plan.purge.pulses * plan.purge.periodMs) / 1e3;
  const zeroS = hasZeroPoints(plan) ? plan.zero.settleS + zeroWindow(plan) : 0;
  const betweenS = 0.5;
  let pointS = zeroS;
  const seen = new Set<string>();
  for (const point of points) {
    const staticFlow = flowOf(point.injector);
    const key = `${point.role} ${staticFlow} ${point.voltage} ${point.pressure} ${point.width} ${point.period}`;
    if (point.role === 'zero' || seen.has(key)) continue;
    seen.add(key);
    pointS = Math.max(pointS, purgeS + plan.settleS + expectedWindow(plan, expectedEdgeRate(staticFlow, equipment, point), point.role).length);
  }
  const cannot: string[] = [];
  let slowest = 0;
  for (const { id, signal, dwellS } of plan.guards) {
    switch (signal) {
      case 'idle-flow-ml-min': {
        const restS = idleFlowRest(plan);
        const needed = restS + idleFlowSpan + dwellS;
        const longest = Math.max(zeroS, betweenS);
        slowest = Math.max(slowest, needed);
        if (needed > longest) {
          cannot.push(
            `${id} needs ${short(needed)} s without pulses (${restS} s of rest, ${idleFlowSpan} s of counting, dwellS ${dwellS} s), and the longest time without pulses is ${
              zeroS > 0 ? `${short(longest)} s, at a zero point (zero.settleS ${plan.zero.settleS} s, window ${short(zeroWindow(plan))} s)` : 'under a second, between two points'
            }`,
          );
        }
        break;
      }
      case 'pressure-deviation-kpa':
      case 'supply-deviation-v':
        if (dwellS >= pointS) cannot.push(`${id} acts after ${dwellS} s outside (dwellS), and the longest point, in which it is looked at, takes ${short(pointS)} s`);
        break;
      default:
        if (dwellS >= durationS) cannot.push(`${id} acts after ${dwellS} s outside (dwellS), and the whole run takes ${short(durationS)} s`);
        break;
    }
  }
  if (cannot.length > 0) return refuse(`A guard could never act: ${cannot.join('; ')}. Shorten its dwellS or give zero points that are long enough, or take the guard out.`);
  return pass(slowest > 0 ? `Every guard can act. The guard of the idle flow needs ${short(slowest)} s without pulses; a zero point gives ${short(zeroS)} s.` : 'Every guard can act under the timing of the plan.');
}

function costOfLeaks(plan: Plan, points: readonly Point[], { equipment, durationS }: LeakContext): Finding {
  const without = points.filter(({ role }) => role !== 'zero' && role !== 'pair');
  if (without.length === points.length) return pass('No bench time goes into zero points and period pairs.');
  const others = estimateRun(plan, without, equipment).durationS;
  const spent = durationS - others;
  const percent = (100 * spent) / others;
  const text = `Zero points and period pairs take about ${short(spent)} s, ${percent.toFixed(1)} % of the time of the other points`;
  return pass(percent <= smallShare ? `${text}.` : `${text}: the plan is so short that a leak could not be seen in less. zero.windowS and pair.windows make them shorter.`);
}

const short = (n: number): string => String(Number(n.toPrecision(3)));
