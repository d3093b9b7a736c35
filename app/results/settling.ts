/**
 * How long a bench takes to settle after the pulses of a point begin, from the raw frames of a run: pressure and supply against the tolerances of the plan, the flow against what it comes to. It
 * says which wait a plan needs (`settleS`), and whether the one that it has is long enough (RUN-247). It changes no plan.
 */
import type { BenchFrame } from '../bench/port.ts';
import { tQuantile } from '../distributions/distributions.ts';
import type { Plan } from '../plan/plan.ts';
import { sampleOf } from '../statistics/sample.ts';

/** One attempt. `frames`: oldest first and all of its burst, from the first that shows its pulses running to the last of its window. */
export interface SettlingAttempt {
  /** Set points, V and Pa. */
  readonly voltage: number;
  readonly pressure: number;
  /** From pulse to pulse, s. */
  readonly period: number;
  readonly frames: readonly BenchFrame[];
}

/** Times are of the controller's clock, s, from the first frame that shows the pulses running. */
export interface BandSettling {
  /** Attempts in which it was within tolerance to the end of the plan's wait, and of how many. */
  readonly within: number;
  readonly attempts: number;
  /** From when on it was; null: in none. */
  readonly median: number | null;
  readonly latest: number | null;
}

/** A stretch of time after the pulses began, to the nearest whole period of each attempt. Flow over what it comes to, less 1: the mean over attempts, and its 95 % interval. */
interface FlowRow {
  readonly from: number;
  readonly to: number;
  readonly mean: number;
  readonly expanded: number;
  readonly attempts: number;
}

export type Settling =
  | {
      readonly kind: 'settling';
      /** What the plan waits, s. */
      readonly waited: number;
      readonly pressure: BandSettling;
      readonly supply: BandSettling;
      readonly flow: readonly FlowRow[];
      /** From here on every row, to the last, is within `flowLimit` with its interval; null: it cannot be said of the last. */
      readonly flowFrom: number | null;
    }
  | { readonly kind: 'no-settling'; readonly text: string };

/** Relative. Of half a second it is a tenth of that in a window of 5 s. */
export const flowLimit = 2e-3;
const step = 0.5;
/** The flow is looked at so long into the window too, s: what is uneven there the plan's wait is too short for. */
const intoWindow = 1;
/** What the flow comes to is taken from what follows, so long at the least, s. */
const shortestRest = 0.75;
const fewestAttempts = 5;

interface Edge {
  readonly at: number;
  readonly count: number;
}

/** Edges that came while the pulses were running, each once. */
function edgesOf(frames: readonly BenchFrame[]): readonly Edge[] {
  const begun = (frames[0] as BenchFrame).at;
  const found: Edge[] = [];
  for (const { edges, lastEdgeAt } of frames) if (lastEdgeAt >= begun && edges > (found.at(-1)?.count ?? Number.NEGATIVE_INFINITY)) found.push({ at: lastEdgeAt, count: edges });
  return found;
}

/**
 * Edges a second over whole periods up to a time, and from another one on at the earliest; null where the known edges do not reach so far or lie more than a step apart.
 * Flow comes in pulses: over half of one more or less it would be another, and so it would from an edge on, which falls into a pulse rather than between two.
 */
function rate(edges: readonly Edge[], from: number, to: number, period: number): number | null {
  const first = edges[0];
  if (first === undefined) return null;
  const duration = Math.floor((to - Math.max(from, first.at)) / period + 1e-6) * period;
  // Of less than half of it the first edge is most of what would be told.
  if (!(duration > 0) || duration < (to - from) / 2) return null;
  const [a, b] = [countAt(edges, to - duration), countAt(edges, to)];
  return a === null || b === null ? null : (b - a) / duration;
}

function countAt(edges: readonly Edge[], time: number): number | null {
  const after = edges.findIndex(({ at }) => at >= time);
  const [a, b] = [edges[after - 1], edges[after]];
  if (b === undefined) return null;
  if (b.at === time || a === undefined) return b.at === time ? b.count : null;
  return b.at - a.at > step ? null : a.count + ((b.count - a.count) * (time - a.at)) / (b.at - a.at);
}

/** From when on a signal is within `tolerance` of `wanted` until the wait is over; null: it is not. */
function withinFrom(frames: readonly BenchFrame[], waited: number, isWithin: (frame: BenchFrame) => boolean): number | null {
  const begun = (frames[0] as BenchFrame).at;
  const waiting = frames.filter(({ at }) => at - begun <= waited);
  const lastOut = waiting.findLastIndex((frame) => !isWithin(frame));
  const first = waiting[lastOut + 1];
  return first === undefined ? null : first.at - begun;
}

function bandOf(times: readonly (number | null)[]): BandSettling {
  const known = times.filter((t) => t !== null).toSorted((a, b) => a - b);
  return { within: known.length, attempts: times.length, median: known[Math.floor((known.length - 1) / 2)] ?? null, latest: known.at(-1) ?? null };
}

function flowRows(attempts: readonly SettlingAttempt[], waited: number): readonly FlowRow[] {
  const steps = Math.ceil((waited + intoWindow) / step);
  const found: number[][] = Array.from({ length: steps }, () => []);
  for (const { frames, period } of attempts) {
    const edges = edgesOf(frames);
    const begun = (frames[0] as BenchFrame).at;
    const after = (steps: number): number => begun + Math.round((steps * step) / period) * period;
    const rest = after(steps);
    const pulses = Math.floor(((edges.at(-1)?.at ?? 0) - rest) / period);
    const comesTo = pulses * period < shortestRest ? null : rate(edges, rest, rest + pulses * period, period);
    if (comesTo === null || !(comesTo > 0)) continue;
    for (const [i, of] of found.entries()) {
      const here = rate(edges, after(i), after(i + 1), period);
      if (here !== null) of.push(here / comesTo - 1);
    }
  }
  return found.flatMap((of, i) => {
    if (of.length < fewestAttempts) return [];
    const { n, mean, squares } = sampleOf(of);
    return [{ from: i * step, to: (i + 1) * step, mean, expanded: tQuantile(0.975, n - 1) * Math.sqrt(squares / (n - 1) / n), attempts: n }];
  });
}

/** @param attempts of counting attempts whose pulses were those of the plan. */
export function settlingOf(attempts: readonly SettlingAttempt[], { settleS, supply, condition }: Pick<Plan, 'settleS' | 'supply' | 'condition'>): Settling {
  const told = attempts.filter(({ frames }) => frames.length > 1);
  if (told.length < fewestAttempts) return { kind: 'no-settling', text: `Frames of ${told.length} attempts from the begin of their pulses are stored; ${fewestAttempts} are needed at least.` };
  const tolerance = condition.pressureToleranceKpa * 1e3;
  const flow = flowRows(told, settleS);
  const beyond = flow.findLastIndex(({ mean, expanded }) => !(Math.abs(mean) + expanded <= flowLimit));
  return {
    kind: 'settling',
    waited: settleS,
    pressure: bandOf(told.map(({ frames, pressure }) => withinFrom(frames, settleS, (f) => Math.abs(f.pressure - pressure) <= tolerance))),
    supply: bandOf(told.map(({ frames, voltage }) => withinFrom(frames, settleS, (f) => Math.abs(f.supply - voltage) <= supply.toleranceV))),
    flow,
    flowFrom: flow[beyond + 1]?.from ?? null,
  };
}
