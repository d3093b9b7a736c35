/** The reference injector over the runs of a lab: one value for each run and condition, ready for a chart. */
import type { Plan } from '../plan/plan.ts';
import type { Equipment } from '../equipment/equipment.ts';
import type { Pascals, Seconds, UnixMillis, Volts } from '../quantities/quantity.ts';
import { result, type Result } from '../uncertainty/budget.ts';
import type { ReducedWindow, Source } from '../reduce/reduction.ts';
import { pooled, sampleOf, type Sample } from '../statistics/sample.ts';

export interface RunWithReference {
  readonly id: string;
  readonly at: UnixMillis;
  readonly plan: Plan;
  readonly equipment: Equipment;
  /** At least those of the reference points. */
  readonly windows: readonly ReducedWindow[];
}

interface ReferenceRun {
  readonly run: string;
  readonly at: UnixMillis;
  /** Mean Qd of the run's reference points, kg, at the plan's pressure and the reference temperature. */
  readonly mass: Result;
  /** Of the flow meter, so that a step that comes with a new one is seen to. */
  readonly meterCertificate: string;
  readonly sources: readonly Source[];
}

/** What was measured under the same conditions of the same injector. */
export interface ReferenceHistory {
  readonly serialNumber: string;
  readonly voltage: Volts;
  readonly pressure: Pascals;
  readonly width: Seconds;
  readonly period: Seconds;
  readonly referenceC: number;
  /** The oldest first. */
  readonly runs: readonly ReferenceRun[];
}

/** A run before what its history says of the scatter is known. */
interface Gathered extends Omit<ReferenceRun, 'mass'> {
  readonly sample: Sample;
  /** Standard uncertainty of the mean from inside the windows, and from the instruments, kg. */
  readonly inside: number;
  readonly uShared: number;
}

/**
 * Gathers the reference points of runs (CH-7): a run is one value, the mean of its reference points, because points of one
 * run share its fluid, warmth and mounting and would make the limits too narrow. Runs without a reference give none.
 */
export function referenceHistories(runs: readonly RunWithReference[]): readonly ReferenceHistory[] {
  const histories = new Map<string, Omit<ReferenceHistory, 'runs'> & { readonly gathered: Gathered[] }>();
  const inOrder = [...runs].sort((a, b) => a.at - b.at || (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  for (const { id, at, plan, equipment, windows } of inOrder) {
    const own = windows.filter((w) => w.at.role === 'reference');
    const masses = own.flatMap((w) => (w.outcome.kind === 'mass' ? [{ outcome: w.outcome, source: { point: w.point, attempt: w.attempt } }] : []));
    const [first] = own;
    if (first === undefined || masses.length === 0) continue;
    const point = first.at;
    const serialNumber = plan.injectors[point.injector]?.serialNumber ?? '';
    const { referenceC } = plan.reduction;
    const key = JSON.stringify([serialNumber, point.voltage, point.pressure, point.width, point.period, referenceC]);
    const history = histories.get(key) ?? { serialNumber, voltage: point.voltage, pressure: point.pressure, width: point.width, period: point.period, referenceC, gathered: [] };
    histories.set(key, history);
    const sample = sampleOf(masses.map((m) => m.outcome.mass));
    history.gathered.push({
      run: id,
      at,
      sample,
      inside: Math.hypot(...masses.map((m) => m.outcome.mass * m.outcome.uRandom)) / masses.length,
      uShared: sampleOf(masses.map((m) => m.outcome.uShared)).mean * sample.mean,
      meterCertificate: equipment.meter.certificate.number,
      sources: masses.map((m) => m.source),
    });
  }
  return [...histories.values()].map(({ gathered, ...condition }) => {
    // Two reference points of one run say next to nothing of their scatter; those of all runs together say it well.
    const scatter = pooled(gathered.map((g) => g.sample));
    return { ...condition, runs: gathered.map(({ sample, inside, uShared, ...run }) => ({ ...run, mass: stated(sample, inside, uShared, scatter) })) };
  });
}

function stated({ n, mean }: Sample, inside: number, uShared: number, scatter: ReturnType<typeof pooled>): Result {
  const between = scatter === null ? 0 : scatter.sd / Math.sqrt(n);
  return scatter !== null && between > inside ? result(mean, between, scatter.dof, uShared) : result(mean, inside, Number.POSITIVE_INFINITY, uShared);
}
