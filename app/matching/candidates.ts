/** What injectors are matched by: values at chosen points, each with the errors that it has in common with others. */
import type { Plan } from '../plan/plan.ts';
import type { Pascals, Seconds, UnixMillis, Volts } from '../quantities/quantity.ts';
import { carriedIn, type RunOfErrors } from '../results/across-runs.ts';
import { combine, type Carried } from '../uncertainty/carried.ts';
import { deadTimeCarried, lineMassCarried, slopeCarried, widthMassCarried } from '../reduce/carried-line.ts';
import type { LineCell, Reduction } from '../reduce/reduction.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import type { MatchCriterion } from './problem.ts';

interface Condition {
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly period: Seconds;
  readonly weight: number;
}

/** Mass at a width that was measured is that of its windows; at another it is the line's, inside its region only. */
export type MatchPoint =
  | (Condition & { readonly quantity: 'mass'; readonly width: Seconds })
  | (Condition & { readonly quantity: 'slope' | 'dead-time' })
  | { readonly quantity: 'static-flow'; readonly pressure: Pascals; readonly weight: number };

/** A dead time has no useful percentage: its spread counts in microseconds. The others count in percent. MA-1. */
export function criterionOf(point: MatchPoint): MatchCriterion {
  return { scale: point.quantity === 'dead-time' ? 'absolute' : 'percent', weight: point.weight };
}

export interface ReducedRun extends RunOfErrors {
  readonly at: UnixMillis;
  readonly reduction: Reduction;
  /** How the run was reduced: its values are those of a fluid and coil at `referenceC`, of lines by these settings. */
  readonly settings: Pick<Plan['reduction'], 'referenceC' | 'linearFromMs' | 'slopeOverVoltage'>;
}

export interface Candidate {
  readonly serialNumber: string;
  /** The run that its values are from, and when it was opened. */
  readonly run: string;
  readonly at: UnixMillis;
  /** One for each point: kg, kg/s, or us for dead time. */
  readonly values: readonly Carried[];
}

export interface Candidates {
  readonly candidates: readonly Candidate[];
  readonly leftOut: readonly { readonly serialNumber: string; readonly text: string }[];
  /** Why values of several runs may differ without the injectors; empty: for no known reason. */
  readonly cautions: readonly string[];
}

export interface NotComparable {
  readonly kind: 'not-comparable';
  readonly text: string;
}

/**
 * The injectors of several runs with their values at the points. An injector that was measured in more than one run
 * stands with the newest that has them all; one without such a run is left out, with the newest run's reason. Runs that are referred to
 * different temperatures are not joined. MA-8, MA-10.
 */
export function candidatesOf(runs: readonly ReducedRun[], points: readonly MatchPoint[]): Candidates | NotComparable {
  const newest = [...runs].sort((a, b) => b.at - a.at || (a.id < b.id ? 1 : -1));
  const candidates = new Map<string, Candidate>();
  const leftOut = new Map<string, string>();
  for (const run of newest) {
    const places = new Map(run.reduction.cells.map((cell) => [cell.injector, cell.serialNumber]));
    for (const [injector, serialNumber] of places) {
      if (candidates.has(serialNumber)) continue;
      const values = points.map((point) => valueAt(run.reduction, injector, point));
      const missing = values.find((value) => typeof value === 'string');
      if (missing === undefined) {
        leftOut.delete(serialNumber);
        candidates.set(serialNumber, { serialNumber, run: run.id, at: run.at, values: values.flatMap((value) => (typeof value === 'string' ? [] : [carriedIn(run, value)])) });
      } else if (!leftOut.has(serialNumber)) leftOut.set(serialNumber, missing);
    }
  }
  const bySerial = (a: { serialNumber: string }, b: { serialNumber: string }): number => (a.serialNumber < b.serialNumber ? -1 : 1);
  const used = runs.filter((run) => [...candidates.values()].some((c) => c.run === run.id));
  const differing = (read: (run: ReducedRun) => unknown): boolean => new Set(used.map((run) => JSON.stringify(read(run) ?? null))).size > 1;
  if (differing((run) => run.settings.referenceC)) {
    const said = used.map((run) => `${run.settings.referenceC} degC (run ${run.id})`).join(', ');
    return { kind: 'not-comparable', text: `The runs are referred to different temperatures: ${said}. Masses, slopes and dead times would differ by that alone. Match injectors of runs with one reduction.referenceC.` };
  }
  const cautions = [
    ...(differing((run) => run.settings.linearFromMs) ? ['The linear region is given in some runs and found, or given otherwise, in others (reduction.linearFromMs): dead times of different regions differ without the injectors.'] : []),
    ...(differing((run) => run.settings.slopeOverVoltage) ? ['The runs take their slopes over voltage differently (reduction.slopeOverVoltage).'] : []),
  ];
  return {
    cautions,
    candidates: [...candidates.values()].sort(bySerial),
    leftOut: [...leftOut].map(([serialNumber, text]) => ({ serialNumber, text })).sort(bySerial),
  };
}

/** The value, or why there is none. */
function valueAt(reduction: Reduction, injector: number, point: MatchPoint): Carried | string {
  if (point.quantity === 'static-flow') {
    const flow = reduction.staticFlows.find((f) => f.injector === injector && f.pressure === point.pressure);
    if (flow === undefined) return `Its run has no pressure of ${point.pressure / 1e3} kPa.`;
    return flow.kind === 'static-flow' ? staticCarried(flow) : flow.text;
  }
  const cell = reduction.cells.find((c) => c.injector === injector && c.voltage === point.voltage && c.pressure === point.pressure && c.period === point.period);
  if (cell === undefined) return `Its run did not measure ${point.voltage} V, ${point.pressure / 1e3} kPa with a period of ${point.period * 1e3} ms.`;
  if (cell.kind === 'no-line') return cell.text;
  switch (point.quantity) {
    case 'slope':
      return slopeCarried(cell);
    case 'dead-time':
      return inMicroseconds(deadTimeCarried(cell));
    case 'mass':
      return massAt(cell, point.width);
  }
}

const inMicroseconds = (of: Carried): Carried => combine(of.value * 1e6, [{ of, sensitivity: 1e6 }]);

function massAt(cell: LineCell, width: Seconds): Carried | string {
  const measured = cell.widths.find((w) => w.width === width);
  if (measured === undefined) {
    if (width >= cell.region.from && width <= cell.region.to) return lineMassCarried(cell, width);
    return `A width of ${(width * 1e3).toFixed(3)} ms was not measured, and lies outside the line's region (${(cell.region.from * 1e3).toFixed(3)} ms to ${(cell.region.to * 1e3).toFixed(3)} ms).`;
  }
  return widthMassCarried(cell, measured);
}
