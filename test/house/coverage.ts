/**
 * Do the stated 95 % intervals contain the truth? The sample sweep is run on simulated benches of different seeds: new
 * injectors, new instrument errors drawn from the stated uncertainties, new noise. The truth is the straight line through
 * the noise-free masses at widths of 4 ms and more, a choice that does not depend on what the reduction chose.
 */
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';
import { leakFaults } from './leaks.ts';
import type { LeakCourse } from './leaks.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { reduction, runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

export interface CellOutcome {
  readonly seed: number;
  readonly voltage: number;
  readonly leak: LeakCourse;
  /** A value, one that is marked to be measured again, or none because of a leak (then the rest says nothing). */
  readonly state: 'stated' | 'again' | 'refused';
  readonly deadTimeInside: boolean;
  readonly slopeInside: boolean;
  /** Estimate minus truth over the standard uncertainty that was stated. */
  readonly deadTimeZ: number;
  readonly slopeZ: number;
}

/** Imperfections of the simulated bench by name, each at two strengths. */
const imperfect: Readonly<Record<string, readonly [Scenario['imperfections'], Scenario['imperfections']]>> = {
  'slow-coil': [{ coil: { kelvinPerWatt: 2, tauS: 10 } }, { coil: { kelvinPerWatt: 2, tauS: 30 } }],
  drift: [{ driftPercentPerH: 0.1 }, { driftPercentPerH: 0.5 }],
  walk: [{ walkPercentPerRootH: 0.1 }, { walkPercentPerRootH: 0.5 }],
  dip: [{ rail: { complianceMlPerMpa: 15, refillMs: 3 } }, { rail: { complianceMlPerMpa: 5, refillMs: 3 } }],
  'meter-curve': [{ meterCurvePercent: 0.3 }, { meterCurvePercent: 0.5 }],
  gross: [{ gross: { part: 0.01, percent: 3 } }, { gross: { part: 0.01, percent: 10 } }],
  tails: [{ studentDof: 4 }, { studentDof: 3 }],
  curvature: [{ curvaturePercent: 0.1 }, { curvaturePercent: 0.3 }],
  'in-rotation': [{ inRotationPercent: 1 }, { inRotationPercent: 3 }],
  sag: [{ sagOhm: 0.02 }, { sagOhm: 0.1 }],
};

/** Those of an argument like `slow-coil` or `slow-coil:2`, which is the stronger; null: it names none. */
function imperfectionsOf(argument: string): Scenario['imperfections'] | null {
  const [name = '', strength = '1'] = argument.split(':');
  return imperfect[name]?.[Number(strength) - 1] ?? null;
}

/** About how long the sample sweep takes, s. */
const sweep = 9700;

/** `leaks`: the bench leaks as it is drawn from its seed. */
export async function cellsOfSeed(seed: number, leaks = false, imperfections: Scenario['imperfections'] = {}): Promise<CellOutcome[]> {
  // A guard against leaks would stop the run, which is not what is looked at here.
  const plan = samplePlan('plan', (sample) => ({ ...sample, guards: sample.guards.filter((g) => g.signal !== 'idle-flow-ml-min') }));
  const drawn = leaks ? leakFaults(seed, plan.injectors.map((i) => i.channel), sweep) : { course: 'none' as const, faults: [] };
  const bench = scenario({ seed, faults: [...drawn.faults], imperfections });
  const { state, rest } = await runInProcess({ plan, scenario: bench });
  if (rest.kind !== 'resting' || rest.mode !== 'ended') throw new Error(`seed ${seed}: the sweep did not end`);
  return reduction(state).cells.map((cell): CellOutcome => {
    if (cell.kind !== 'line') {
      if (cell.reason !== 'leak') throw new Error(`seed ${seed}: no line for ${cell.serialNumber} at ${cell.voltage} V: ${cell.text}`);
      return { seed, voltage: cell.voltage, leak: drawn.course, state: 'refused', deadTimeInside: false, slopeInside: false, deadTimeZ: 0, slopeZ: 0 };
    }
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
      leak: drawn.course,
      state: (cell.leak?.again ?? null) === null ? 'stated' : 'again',
      deadTimeInside: deadTime >= cell.deadTimeInterval.low && deadTime <= cell.deadTimeInterval.high,
      slopeInside: Math.abs(slope - cell.slope.value) <= cell.slope.expanded,
      deadTimeZ: ((cell.deadTime.value - deadTime) * cell.deadTime.coverageFactor) / cell.deadTime.expanded,
      slopeZ: ((cell.slope.value - slope) * cell.slope.coverageFactor) / cell.slope.expanded,
    };
  });
}

const percent = (inside: number, of: number): string => `${((100 * inside) / of).toFixed(1)} %`;

/**
 * Prints the shares by voltage and over all; true when dead time and slope both lie in 90 to 99 % over all cells. `--leaks`: every
 * bench leaks as it is drawn; what is refused because of that states nothing, so it is counted and printed beside. Names of imperfections,
 * `slow-coil` or `slow-coil:2` for the stronger, switch those on, together where there are several.
 */
export async function showCoverage(args: readonly string[]): Promise<boolean> {
  const leaks = args.includes('--leaks');
  const [count = '50', first = '1'] = args.filter((a) => /^\d+$/.test(a));
  const named = args.filter((a) => !/^(\d+|--.*)$/.test(a));
  const unknown = named.filter((a) => imperfectionsOf(a) === null);
  if (unknown.length > 0) throw new Error(`No such imperfection: ${unknown.join(', ')}. There are ${Object.keys(imperfect).join(', ')}, and each with :2.`);
  const seeds = Array.from({ length: Number(count) }, (_, i) => Number(first) + i);
  const all = await onAllCores<CellOutcome>(import.meta.filename, seeds, args.filter((a) => !/^\d+$/.test(a)));
  const cells = all.filter((c) => c.state !== 'refused');
  const voltages = [...new Set(all.map((c) => c.voltage))].sort((a, b) => a - b);
  const share = (list: readonly CellOutcome[], inside: (c: CellOutcome) => boolean) => list.filter(inside).length;
  const spread = (list: readonly CellOutcome[], z: (c: CellOutcome) => number) =>
    `${(list.reduce((s, c) => s + z(c), 0) / list.length).toFixed(2)} / ${Math.sqrt(list.reduce((s, c) => s + z(c) ** 2, 0) / list.length).toFixed(2)}`;
  const row = (label: string, whole: readonly CellOutcome[]): void => {
    const list = whole.filter((c) => c.state !== 'refused');
    const counted = leaks ? `${String(whole.length - list.length).padStart(9)}${String(list.filter((c) => c.state === 'again').length).padStart(7)}` : '';
    process.stdout.write(
      `${label.padEnd(22)}${String(list.length).padStart(7)}${percent(share(list, (c) => c.deadTimeInside), list.length).padStart(12)}${percent(share(list, (c) => c.slopeInside), list.length).padStart(10)}${spread(list, (c) => c.deadTimeZ).padStart(18)}${spread(list, (c) => c.slopeZ).padStart(16)}${counted}\n`,
    );
  };
  process.stdout.write(`Share of cells whose 95 % interval holds the truth, ${seeds.length} seeds${named.length === 0 ? '' : `, bench with ${named.join(', ')}`} (z: mean / root mean square of error over stated u)\n`);
  process.stdout.write(`                         cells   dead time     slope      dead time z         slope z${leaks ? '  refused  again' : ''}\n`);
  for (const v of voltages) row(`${v} V`, all.filter((c) => c.voltage === v));
  row('all', all);
  if (leaks) for (const course of ['none', 'constant', 'growing', 'beginning in mid run'] as const) row(course, all.filter((c) => c.leak === course));
  const good = (inside: (c: CellOutcome) => boolean): boolean => {
    const fraction = share(cells, inside) / cells.length;
    return fraction >= 0.9 && fraction <= 0.99;
  };
  return good((c) => c.deadTimeInside) && good((c) => c.slopeInside);
}

answerPieces(import.meta.filename, (seed) => {
  const args = process.argv.slice(2);
  return cellsOfSeed(seed, args.includes('--leaks'), Object.assign({}, ...args.map(imperfectionsOf)) as Scenario['imperfections']);
});
