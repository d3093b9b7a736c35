/**
 * Do the stated 95 % intervals contain the truth? The sample sweep is run on simulated benches of different seeds: new
 * injectors, new instrument errors drawn from the stated uncertainties, new noise. The truth is the straight line through
 * the noise-free masses at widths of 4 ms and more, a choice that does not depend on what the reduction chose.
 */
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { reduction, runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

export interface CellOutcome {
  readonly seed: number;
  readonly voltage: number;
  readonly deadTimeInside: boolean;
  readonly slopeInside: boolean;
  /** Estimate minus truth over the standard uncertainty that was stated. */
  readonly deadTimeZ: number;
  readonly slopeZ: number;
}

export async function cellsOfSeed(seed: number): Promise<CellOutcome[]> {
  const bench = scenario({ seed });
  const plan = samplePlan('plan');
  const { state, rest } = await runInProcess({ plan, scenario: bench });
  if (rest.kind !== 'resting' || rest.mode !== 'ended') throw new Error(`seed ${seed}: the sweep did not end`);
  return reduction(state).cells.map((cell) => {
    if (cell.kind !== 'line') throw new Error(`seed ${seed}: no line for ${cell.serialNumber} at ${cell.voltage} V: ${cell.text}`);
    const truth = truthOf(bench, {
      channel: plan.injectors[cell.injector]?.channel ?? 0,
      voltageV: cell.voltage,
      pressureKpa: cell.pressure / 1e3,
      widthsMs: plan.axes.widthMs.filter((w) => w >= 4),
      periodMs: cell.period * 1e3,
      referenceC: plan.reduction.referenceC,
    });
    const deadTime = truth.deadTimeMs / 1e3;
    const slope = truth.slopeMgPerMs / 1e3;
    return {
      seed,
      voltage: cell.voltage,
      deadTimeInside: deadTime >= cell.deadTimeInterval.low && deadTime <= cell.deadTimeInterval.high,
      slopeInside: Math.abs(slope - cell.slope.value) <= cell.slope.expanded,
      deadTimeZ: ((cell.deadTime.value - deadTime) * cell.deadTime.coverageFactor) / cell.deadTime.expanded,
      slopeZ: ((cell.slope.value - slope) * cell.slope.coverageFactor) / cell.slope.expanded,
    };
  });
}

const percent = (inside: number, of: number): string => `${((100 * inside) / of).toFixed(1)} %`;

/** Prints the shares by voltage and over all; true when dead time and slope both lie in 90 to 99 % over all cells. */
export async function showCoverage([count = '50', first = '1']: readonly string[]): Promise<boolean> {
  const seeds = Array.from({ length: Number(count) }, (_, i) => Number(first) + i);
  const cells = await onAllCores<CellOutcome>(import.meta.filename, seeds);
  const voltages = [...new Set(cells.map((c) => c.voltage))].sort((a, b) => a - b);
  const share = (list: readonly CellOutcome[], inside: (c: CellOutcome) => boolean) => list.filter(inside).length;
  const spread = (list: readonly CellOutcome[], z: (c: CellOutcome) => number) =>
    `${(list.reduce((s, c) => s + z(c), 0) / list.length).toFixed(2)} / ${Math.sqrt(list.reduce((s, c) => s + z(c) ** 2, 0) / list.length).toFixed(2)}`;
  const row = (label: string, list: readonly CellOutcome[]): void => {
    process.stdout.write(
      `${label.padEnd(10)}${String(list.length).padStart(7)}${percent(share(list, (c) => c.deadTimeInside), list.length).padStart(12)}${percent(share(list, (c) => c.slopeInside), list.length).padStart(10)}${spread(list, (c) => c.deadTimeZ).padStart(18)}${spread(list, (c) => c.slopeZ).padStart(16)}\n`,
    );
  };
  process.stdout.write(`Share of cells whose 95 % interval holds the truth, ${seeds.length} seeds (z: mean / root mean square of error over stated u)\n`);
  process.stdout.write('             cells   dead time     slope      dead time z         slope z\n');
  for (const v of voltages) row(`${v} V`, cells.filter((c) => c.voltage === v));
  row('all', cells);
  const good = (inside: (c: CellOutcome) => boolean): boolean => {
    const fraction = share(cells, inside) / cells.length;
    return fraction >= 0.9 && fraction <= 0.99;
  };
  return good((c) => c.deadTimeInside) && good((c) => c.slopeInside);
}

answerPieces(import.meta.filename, cellsOfSeed);
