/**
 * Flow as the window shows it, from the edges of the meter: whole edges over the time between the first and the last of
 * them (double chronometry, ISO 7278-3), then volume by the certificate's K-factor and mass by density.
 * For looking at only; what a run measures is worked out in its window by the reduction.
 */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { densityOfRun } from '../../app/fluid/density-of-run.ts';
import { kilopascals, pascals } from '../../app/quantities/quantity.ts';
import type { KilogramsPerCubicMetre } from '../../app/quantities/quantity.ts';
import { kFactorAt } from '../../app/reduce/mass.ts';

/** s: how far back edges are counted, and how long without one until the flow is called none. */
const span = 2;
const silence = 4;
/** Intervals without an edge after which the flow is taken to be falling. */
const overdue = 2;

interface Mark {
  readonly edges: number;
  readonly at: number;
}

export class FlowFromEdges {
  #marks: Mark[] = [];
  #edges: number | null = null;

  clear(): void {
    this.#marks = [];
    this.#edges = null;
  }

  /** Edges per second by the frame; null while too few were seen to say; 0: none for some seconds. */
  add(frame: BenchFrame): number | null {
    if (frame.edges !== this.#edges && frame.edges > 0) this.#marks.push({ edges: frame.edges, at: frame.lastEdgeAt });
    this.#edges = frame.edges;
    const quiet = frame.at - frame.lastEdgeAt;
    if (quiet > silence) {
      this.#marks = [];
      return 0;
    }
    while (this.#marks.length > 2 && (this.#marks[1]?.at ?? 0) <= frame.at - span) this.#marks.shift();
    const first = this.#marks[0];
    const latest = this.#marks.at(-1);
    if (first === undefined || latest === undefined || first === latest) return null;
    const edges = latest.edges - first.edges;
    const time = latest.at - first.at;
    // Edges that were all timed alike tell no flow.
    if (!(time > 0)) return null;
    // Once edges are overdue, the time without them counts too.
    return edges / (quiet > (overdue * time) / edges ? frame.at - first.at : time);
  }
}

/** Density at the meter, or null outside of what the equation of state covers. */
export function densityAtMeter(equipment: Equipment, frame: BenchFrame): KilogramsPerCubicMetre | null {
  const absolute = pascals(frame.pressure + kilopascals(equipment.ambientKpa));
  return densityOfRun(equipment, frame.meterTemperature, absolute)?.density ?? null;
}

/** kg/s; null where the density is not known. */
export function massFlow(equipment: Equipment, frame: BenchFrame, edgesPerSecond: number): number | null {
  if (edgesPerSecond === 0) return 0;
  const density = densityAtMeter(equipment, frame);
  return density === null ? null : (density * edgesPerSecond) / kFactorAt(equipment.meter, edgesPerSecond);
}
