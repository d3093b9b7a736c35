/** How an attempt ended. */
import type { Point } from '../../plan/points.ts';
import type { Criterion, Verdict } from '../../journal/events.ts';
import { judge } from '../judge.ts';
import { decayText } from '../../reduce/pressure-decay.ts';
import type { PressureDecay } from '../../journal/measured.ts';
import { framesInTime } from '../telemetry-check.ts';
import type { WindowFailure } from '../window.ts';
import type { WindowSummary } from '../../journal/measured.ts';
import type { EngineCore } from './core.ts';
import type { LatestReadings } from './readings.ts';

export interface Outcome {
  readonly verdict: Verdict;
  readonly window: WindowSummary | null;
  readonly criteria: readonly Criterion[];
  readonly text: string;
  /** The same word for the same cause (RUN-133). */
  readonly cause: string;
}

/** Holds what a window came to against the limits of the plan; `more` and `last` are criteria from outside the window. */
export function judged(
  core: EngineCore,
  readings: LatestReadings,
  point: Point,
  window: WindowSummary | WindowFailure,
  known: { readonly first?: readonly Criterion[]; readonly last?: readonly Criterion[]; readonly decay?: PressureDecay | null },
): Outcome {
  if ('failure' in window) {
    return { verdict: 'rejected', window: null, criteria: [{ rule: 'RUN-52', passed: false, text: window.text }], text: window.text, cause: window.failure };
  }
  const { plan, equipment } = core.state;
  const told = [...(known.first ?? []), framesInTime(window, plan.link.telemetryHz), ...(known.last ?? [])];
  const { verdict, criteria, text } = judge(window, point, plan, core.capabilities, told);
  const idle = readings.idleTime.take();
  const decay = known.decay ?? null;
  return {
    verdict,
    window: { ...window, ...(idle === null ? {} : { idle }), ...(decay === null ? {} : { decay }) },
    criteria,
    text: decay === null ? text : `${text} ${decayText(decay, equipment)}`,
    cause: criteria.find((criterion) => !criterion.passed)?.rule ?? '',
  };
}

/** An attempt that came to no window. */
export const withoutWindow = (verdict: Verdict, text: string, cause = text): Outcome => ({ verdict, window: null, criteria: [], text, cause });
