/** What each signal should be now: its set point and its band, and where they come from. In the signals' SI units. */
import type { BenchCapabilities, BenchFrame } from '../../../app/bench/port.ts';
import { signals } from '../../../app/bench/readings.ts';
import type { Signal as TableSignal, SignalId } from '../../../app/bench/readings.ts';
import type { ManualView } from '../../../app/contract/bench-requests.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { celsius, kilopascals } from '../../../app/quantities/quantity.ts';
import type { LiveSignal } from '../../live/live-bench.ts';

export interface Expectation {
  /** null: nothing is set here, or it is not known. */
  readonly setPoint: number | null;
  /** A null limit: open on that side. */
  readonly low: number | null;
  readonly high: number | null;
}

export type Expectations = Readonly<Record<LiveSignal, Expectation>>;

/** How near the supply must be to its safe value to be called safe, V: as the bench driver has it. */
const safeSupplyTolerance = 0.5;
/** The tolerances that a plan starts with (PLAN defaults); work by hand is held against the same. */
const byHand = { supplyV: 0.05, pressureKpa: 4, temperatureMinC: 15, temperatureMaxC: 30 };

const open: Expectation = { setPoint: null, low: null, high: null };
/** Of each signal of the table. */
const of = (expected: (signal: TableSignal) => Expectation) =>
  Object.fromEntries(signals.map((signal) => [signal.id, expected(signal)])) as Record<SignalId, Expectation>;
const around = (setPoint: number, tolerance: number): Expectation => ({ setPoint, low: setPoint - tolerance, high: setPoint + tolerance });

/**
 * A run's plan and its current point decide while it measures; otherwise what was set by hand, and a disarmed bench is
 * expected at its safe supply.
 */
export function expectationsOf(now: {
  readonly frame: BenchFrame | null;
  readonly capabilities: BenchCapabilities | null;
  readonly run: { readonly plan: Plan; readonly point: Point | null } | null;
  /** What was set by hand; null: the host has nothing to do with that now. */
  readonly set: ManualView['set'] | null;
}): Expectations {
  const { frame, capabilities, run } = now;
  // A run sets everything anew.
  const set = run === null ? now.set : null;
  const tolerances = run === null
    ? byHand
    : {
        supplyV: run.plan.supply.toleranceV,
        pressureKpa: run.plan.condition.pressureToleranceKpa,
        temperatureMinC: run.plan.condition.temperatureMinC,
        temperatureMaxC: run.plan.condition.temperatureMaxC,
      };
  const temperature: Expectation = { setPoint: null, low: celsius(tolerances.temperatureMinC), high: celsius(tolerances.temperatureMaxC) };
  const pressure = run?.point?.pressure ?? (set?.pressureKpa == null ? null : kilopascals(set.pressureKpa));
  const supply = run?.point?.voltage ?? set?.supplyV ?? null;
  const disarmed = frame !== null && !frame.armed;
  return {
    ...of(({ band, guard }) => (band === 'temperature' ? temperature : guard === null ? open : { ...open, ...limitOf(run?.plan ?? null, guard) })),
    supply:
      disarmed && capabilities !== null ? around(capabilities.safeSupply, safeSupplyTolerance) : supply === null ? open : around(supply, tolerances.supplyV),
    pressure: pressure === null ? open : around(pressure, kilopascals(tolerances.pressureKpa)),
    flow: open,
  };
}

function limitOf(plan: Plan | null, signal: Plan['guards'][number]['signal']): { low: number | null; high: number | null } {
  const guards = plan?.guards.filter((guard) => guard.signal === signal) ?? [];
  const highs = guards.flatMap(({ high }) => (high === undefined ? [] : [high]));
  const lows = guards.flatMap(({ low }) => (low === undefined ? [] : [low]));
  return { low: lows.length === 0 ? null : Math.max(...lows), high: highs.length === 0 ? null : Math.min(...highs) };
}

export function isInside(value: number, { low, high }: Expectation): boolean {
  return (low === null || value >= low) && (high === null || value <= high);
}
