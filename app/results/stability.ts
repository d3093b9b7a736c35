/**
 * How steady a bench holds a set point: the Allan deviation of mass per pulse and of what it is measured under, from the raw frames of windows that were held long
 * enough. It says how scatter goes down with the length of a window, and from which length on a longer one buys nothing (RED-165 to RED-169).
 */
import type { BenchFrame } from '../bench/port.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfRun } from '../fluid/density-of-run.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, pascals } from '../quantities/quantity.ts';
import { kFactorAt } from '../reduce/mass.ts';
import { stabilitySignals, type StabilitySignal } from './stability-signals.ts';
import { allanRows, driftOfRecord, paysUntil, type AllanRow, type PaysUntil, type SteadyDrift } from '../statistics/allan.ts';

/** A window with its frames, oldest first, all of one burst. */
export interface HeldWindow {
  readonly point: number;
  readonly attempt: number;
  readonly frames: readonly BenchFrame[];
}

export interface SignalStability {
  readonly signal: StabilitySignal;
  /** Mean over all steps: kg a pulse, Pa, V, K. */
  readonly mean: number;
  /** Of the mass relative to its mean; of the others Pa, V, K. */
  readonly rows: readonly AllanRow[];
  readonly pays: PaysUntil | null;
  /** Of the mass relative to its mean, else in the unit of the rows, per second. */
  readonly drift: SteadyDrift | null;
}

export type Stability =
  | {
      readonly kind: 'stability';
      /** Length of a step, and of all steps together, s. */
      readonly step: number;
      readonly duration: number;
      readonly windows: readonly { readonly point: number; readonly attempt: number; readonly duration: number }[];
      readonly signals: readonly SignalStability[];
    }
  | { readonly kind: 'no-stability'; readonly text: string };

/** A step has this length at least, and holds so many frames and edges: of fewer the reading itself would be most of what is seen. */
const shortestStepS = 1;
const fewestFrames = 4;
const fewestEdges = 4;
/** Fewer steps in the longest stretch tell nothing: averages of four rows. */
export const fewestSteps = 32;

type Settings = Pick<Plan['reduction'], 'referenceC'>;
type SetPoint = Pick<Point, 'pressure' | 'period'>;

/** What one step tells. */
interface Step {
  /** kg a pulse, referred to the pressure of the plan and the reference temperature (RED-4); null: no density. */
  readonly mass: number | null;
  readonly pressure: number;
  readonly supply: number;
  readonly railTemperature: number;
  readonly meterTemperature: number;
}

/** Frames of a window whose latest edge is another than that of the frame before: there the count stands at a known time. */
const withEdges = (frames: readonly BenchFrame[]): readonly BenchFrame[] => frames.filter((frame, i) => i > 0 && frame.edges > (frames[i - 1] as BenchFrame).edges);

/** Edges counted up to each of rising times, straight between known edges; null where these lie more than `within` apart, because frames are missing. */
function countsAt(times: readonly number[], known: readonly BenchFrame[], within: number): readonly (number | null)[] {
  let i = 1;
  return times.map((time) => {
    while (i < known.length - 1 && (known[i] as BenchFrame).lastEdgeAt < time) i += 1;
    const [a, b] = [known[i - 1] as BenchFrame, known[i] as BenchFrame];
    const apart = b.lastEdgeAt - a.lastEdgeAt;
    return apart > within ? null : a.edges + ((b.edges - a.edges) * (time - a.lastEdgeAt)) / apart;
  });
}

const mean = (values: readonly number[]): number => values.reduce((sum, v) => sum + v, 0) / values.length;

/** Mean of a signal over some frames. */
const over = (frames: readonly BenchFrame[], read: (frame: BenchFrame) => number): number => mean(frames.map(read));

/** Steps of one window, in stretches: one ends where frames are missing for a step. */
function stepsOf(frames: readonly BenchFrame[], step: number, at: SetPoint, equipment: Equipment, settings: Settings): readonly (readonly Step[])[] {
  const known = withEdges(frames);
  const [first, last] = [known[0], known.at(-1)];
  if (first === undefined || last === undefined || !(last.lastEdgeAt > first.lastEdgeAt)) return [];
  const count = Math.floor((last.lastEdgeAt - first.lastEdgeAt) / step);
  const edges = countsAt(Array.from({ length: count + 1 }, (_, i) => first.lastEdgeAt + i * step), known, step);
  const kFactor = kFactorAt(equipment.meter, (last.edges - first.edges) / (last.lastEdgeAt - first.lastEdgeAt));
  const ambient = equipment.ambientKpa * 1e3;
  const reference = densityOfRun(equipment, celsius(settings.referenceC), pascals(at.pressure + ambient))?.density ?? null;
  const stretches: Step[][] = [[]];
  let next = 0;
  for (let i = 0; i < count; i += 1) {
    const end = first.lastEdgeAt + (i + 1) * step;
    const inside: BenchFrame[] = [];
    for (; next < frames.length && (frames[next] as BenchFrame).at < end; next += 1) if ((frames[next] as BenchFrame).at >= end - step) inside.push(frames[next] as BenchFrame);
    const [before, after] = [edges[i] ?? null, edges[i + 1] ?? null];
    if (inside.length === 0 || before === null || after === null) {
      stretches.push([]);
      continue;
    }
    const [pressure, rail, meter] = [over(inside, (f) => f.pressure), over(inside, (f) => f.railTemperature), over(inside, (f) => f.meterTemperature)];
    const absolute = pascals(pressure + ambient);
    const [inMeter, inRail] = [densityOfRun(equipment, meter as BenchFrame['meterTemperature'], absolute), densityOfRun(equipment, rail as BenchFrame['railTemperature'], absolute)];
    const rate = (after - before) / step;
    const mass = reference === null || inMeter === null || inRail === null || !(pressure > 0) ? null : (inMeter.density * rate * at.period * Math.sqrt((at.pressure / pressure) * (reference / inRail.density))) / kFactor;
    stretches.at(-1)?.push({ mass, pressure, supply: over(inside, (f) => f.supply), railTemperature: rail, meterTemperature: meter });
  }
  return stretches.filter((steps) => steps.length > 0);
}

/** What has passed, from the means of the steps less the mean of all. */
function passed(values: readonly number[], step: number, from: number): readonly number[] {
  let sum = 0;
  return [0, ...values.map((v) => (sum += (v - from) * step))];
}

function ofSignal(signal: StabilitySignal, stretches: readonly (readonly Step[])[], step: number): SignalStability | null {
  const values = stretches.map((steps) => steps.map((s) => s[signal]));
  if (values.some((of) => of.some((v) => v === null || !Number.isFinite(v)))) return null;
  const known = values as readonly (readonly number[])[];
  const all = mean(known.flat());
  const scale = signal === 'mass' ? 1 / all : 1;
  const records = known.map((of) => passed(of.map((v) => v * scale), step, all * scale));
  const rows = allanRows(records, step);
  return { signal, mean: all, rows, pays: paysUntil(rows), drift: driftOfRecord(records, step) };
}

/**
 * The stability of windows of one set point, each held without a break; several are taken together, and no average goes from one into the next. A reason in words
 * where the longest stretch has fewer than 32 steps.
 */
export function stabilityOf(windows: readonly HeldWindow[], at: SetPoint, equipment: Equipment, settings: Settings): Stability {
  const times = windows.map(({ frames }) => (frames.at(-1)?.at ?? 0) - (frames[0]?.at ?? 0));
  const total = times.reduce((sum, t) => sum + t, 0);
  const [frames, edges] = [windows.reduce((sum, w) => sum + w.frames.length, 0), windows.reduce((sum, w) => sum + ((w.frames.at(-1)?.edges ?? 0) - (w.frames[0]?.edges ?? 0)), 0)];
  if (!(total > 0 && edges > 1)) return { kind: 'no-stability', text: 'There is no flow in these windows.' };
  const step = Math.max(shortestStepS, Math.ceil((fewestFrames * total) / frames), Math.ceil((fewestEdges * total) / edges));
  const stretches = windows.flatMap((w) => stepsOf(w.frames, step, at, equipment, settings));
  const longest = Math.max(0, ...stretches.map((s) => s.length));
  if (longest < fewestSteps) {
    return { kind: 'no-stability', text: `The longest stretch without a break lasts ${longest * step} s. At least ${fewestSteps * step} s are needed, and some minutes to learn something: measure a reference hold, one window as long as that.` };
  }
  return {
    kind: 'stability',
    step,
    duration: stretches.reduce((sum, s) => sum + s.length * step, 0),
    windows: windows.map(({ point, attempt }, i) => ({ point, attempt, duration: times[i] as number })),
    signals: stabilitySignals.flatMap((signal) => ofSignal(signal, stretches, step) ?? []),
  };
}
