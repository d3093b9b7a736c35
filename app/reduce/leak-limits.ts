/** Whether a leak that is known this well may be taken off a result: the limits are the plan's (RED-45). */
import type { Plan } from '../plan/plan.ts';
import { millilitresPerMinute } from './leak-words.ts';
import { coverageFactor, result } from '../uncertainty/budget.ts';
import { ownerOf } from '../uncertainty/source.ts';
import type { ErrorSource } from '../uncertainty/source.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import type { LeakEffect, ReducedWindow } from './reduction.ts';

/** What is known of the leak at the time of each attempt. */
export interface LookedFor {
  /** By `attemptNumber`. */
  readonly blocks: ReadonlyMap<number, LeakBlock>;
  /** Flow by which zero points and period pair contradict each other, m3/s; 0: they do not. */
  readonly contradiction: number;
}

/** Whether a part of a budget is one of the leak. */
export function isOfLeak(source: ErrorSource): boolean {
  return ownerOf(source) === 'leak';
}

/** Means over windows: the flow, and what the leak, its change and a contradiction bring to the mass of a period, kg. */
export function leakOnMass(windows: readonly ReducedWindow[], { blocks, contradiction }: LookedFor): { readonly flow: number; readonly perPeriod: number; readonly change: number; readonly contradiction: number } | null {
  let flow = 0;
  let perPeriod = 0;
  let change = 0;
  let open = 0;
  let n = 0;
  for (const window of windows) {
    const { at, outcome } = window;
    const block = blocks.get(attemptNumber(window));
    if (block === undefined || outcome.kind !== 'mass') continue;
    const perFlow = outcome.meterDensity * at.period * outcome.pressureFactor * outcome.temperatureFactor;
    flow += block.flow;
    perPeriod += perFlow * block.flow;
    change += perFlow * Math.abs(block.change);
    open += perFlow * contradiction;
    n += 1;
  }
  return n === 0 ? null : { flow: flow / n, perPeriod: perPeriod / n, change: change / n, contradiction: open / n };
}

/** How the effect of a leak stands to U95 of the same result without one. `what` names the result. */
export interface LeakVerdict {
  /** Why there is no result; null: there is one. */
  readonly refused: string | null;
  /** Why it should be measured again though it stands; null: no reason. */
  readonly again: string | null;
}

const nothingToSay: LeakVerdict = { refused: null, again: null };

/** Whether nothing is to be said of a leak beside a U95 of `expanded`; beside a larger one then neither. */
const isSmall = ({ shift, u, change, contradiction }: LeakEffect, expanded: number, { leakTimesU95, leakChangeTimesU95, leakUncertaintyTimesU95 }: Plan['reduction']): boolean =>
  !(Math.abs(contradiction) > leakChangeTimesU95 * expanded || Math.abs(change) > leakChangeTimesU95 * expanded || shift > leakTimesU95 * expanded || 2 * u > leakUncertaintyTimesU95 * expanded);

/** The same of a result by its standard uncertainties without the parts of the leak: U95 is worked out only where the normal distribution's, which none is below, does not say it all. */
export function leakVerdictOf(effect: LeakEffect, without: { readonly value: number; readonly uRandom: number; readonly dofRandom: number; readonly uShared: number }, reduction: Plan['reduction'], what: string): LeakVerdict {
  const { value, uRandom, dofRandom, uShared } = without;
  if (isSmall(effect, coverageFactor(Number.POSITIVE_INFINITY) * Math.hypot(uRandom, uShared), reduction)) return nothingToSay;
  return leakVerdict(effect, result(value, uRandom, dofRandom, uShared).expanded, reduction, what);
}

/**
 * `shift`, `u`, `change` and `contradiction` in the unit of the result; `expanded`: its U95 without the parts of the leak.
 */
export function leakVerdict(effect: LeakEffect, expanded: number, reduction: Plan['reduction'], what: string): LeakVerdict {
  const times = (x: number): string => `${Number((Math.abs(x) / expanded).toPrecision(2))} times its U95`;
  const { shift, u, change, contradiction, flow } = effect;
  const leak = `A leak of ${millilitresPerMinute(flow)} past the injector`;
  if (Math.abs(contradiction) > reduction.leakChangeTimesU95 * expanded) {
    return refuse(
      `Zero points and period pair contradict each other: the leak that they leave open moves ${what} by ${times(contradiction)}, and ${reduction.leakChangeTimesU95} is the limit. The meter may stand still at so small a flow. Look for the leak, shut it, and measure again.`,
    );
  }
  if (Math.abs(change) > reduction.leakChangeTimesU95 * expanded) {
    return refuse(
      `${leak} changed while this was measured, by as much as moves ${what} by ${times(change)}; ${reduction.leakChangeTimesU95} is the limit. Find the leak, shut it, and measure this block again.`,
    );
  }
  if (shift > reduction.leakTimesU95 * expanded) {
    return refuse(`${leak} moves ${what} by ${times(shift)}; ${reduction.leakTimesU95} is the limit up to which it is subtracted. Find the leak, shut it, and measure this block again.`);
  }
  if (2 * u > reduction.leakUncertaintyTimesU95 * expanded) {
    return {
      refused: null,
      again: `What may leak past the injector is known so badly (${millilitresPerMinute(flow)}) that it brings ${times(2 * u)} into ${what}; ${reduction.leakUncertaintyTimesU95} is the limit. The result stands with its stated uncertainty. Longer zero points make it smaller: measure again.`,
    };
  }
  return nothingToSay;
}

function refuse(text: string): LeakVerdict {
  return { refused: text, again: null };
}
