/** Lines PRE-60 to PRE-62 of the sheet: the invariance set and the blind windows, and what they take. */
import type { Equipment } from '../equipment/equipment.ts';
import type { BenchCapabilities } from '../bench/port.ts';
import type { PreflightLine } from './preflight-line.ts';
import { estimateRun } from './estimate.ts';
import { invarianceSet } from './invariance.ts';
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';

type Finding = Omit<PreflightLine, 'rule'>;

interface Context {
  readonly equipment: Equipment;
  readonly capabilities: BenchCapabilities | null;
  /** Of the whole run, as estimated. */
  readonly durationS: number;
}

const pass = (text: string): Finding => ({ result: 'pass', text });
const warn = (text: string): Finding => ({ result: 'warn', text });
/** Of the time of the other points, percent; a set that takes more is worth a look. */
const setShare = 6;

/** By rule. `points` is the expansion of the plan. */
export function invarianceFindings(plan: Plan, points: readonly Point[], context: Context): Readonly<Record<'PRE-60' | 'PRE-61' | 'PRE-62', Finding>> {
  return { 'PRE-60': setOf(plan, points, context), 'PRE-61': blindOf(points, context, plan), 'PRE-62': byHand(plan, points, context) };
}

function share(role: Point['role'], points: readonly Point[], plan: Plan, { equipment, durationS }: Context): { readonly windows: number; readonly percent: number; readonly text: string } {
  const others = points.filter((p) => p.role !== role);
  const without = estimateRun(plan, others, equipment).durationS;
  const percent = (100 * (durationS - without)) / without;
  return { windows: points.length - others.length, percent, text: `about ${Math.round(durationS - without)} s, ${percent.toFixed(1)} % of the time of the other points` };
}

function setOf(plan: Plan, points: readonly Point[], context: Context): Finding {
  const { windows, percent, text } = share('invariance', points, plan, context);
  if (windows === 0) return pass('No bench time goes into an invariance set (invariance.percent, or the plan is too short for one): of changed nuisances only period pairs and the order of the widths tell.');
  const { time, period, longPeriod, pressure } = invarianceSet(plan);
  const parts = [
    ...(time > 0 ? [`${time} at the end of the run`] : []),
    ...(period > 0 ? [`${period} short pulses at twice the period`] : []),
    ...(longPeriod > 0 ? [`${longPeriod} longest pulses at twice the period`] : []),
    ...(pressure > 0 ? [`${pressure} at ${plan.invariance.pressurePercent} % more and ${pressure} at less pressure`] : []),
  ];
  const said = `The invariance set has ${windows} windows, of each injector ${parts.join(', ')}: ${text}`;
  return percent > setShare ? warn(`${said}. Set invariance.percent lower if that is too much.`) : pass(`${said}.`);
}

function blindOf(points: readonly Point[], context: Context, plan: Plan): Finding {
  const { windows, text } = share('blind', points, plan, context);
  return pass(windows === 0 ? 'The plan has no blind windows (blind.percent, or it is too short for one).' : `${windows} blind windows, their widths shifted by up to ${plan.blind.mostUs} us, which is told when the run rests: ${text}.`);
}

/** A pressure that a person has to set stops a run that nobody watches. */
function byHand(plan: Plan, points: readonly Point[], { capabilities }: Context): Finding {
  const changed = points.filter((p) => p.changed === 'pressure-up' || p.changed === 'pressure-down').length;
  if (changed === 0 || capabilities === null || capabilities.pressure.commandable) return pass(changed === 0 ? 'The invariance set changes no pressure.' : 'The bench changes the pressure for the invariance set by itself.');
  return warn(`For ${changed} windows of the invariance set the operator has to change the pressure by ${plan.invariance.pressurePercent} % and back, and the run waits for it. Set invariance.pressurePercent to 0 to do without.`);
}
