/**
 * What does a table on a customer's axes cost where few of its places are measured, and do its intervals hold? `npm run show -- maps [N] [SEED] [IMPERFECTION]`: eight injectors on N benches of another hand
 * (`imperfect-bench.ts`). A grid of all 9 voltages and 4 pressures of the table with three replicates tells what can be had: its largest U95 at each voltage, rounded up to 0.1 us and times `easier`, is what the map wants.
 * Then five of the voltages and two of the pressures are measured until the map is known. Windows come without line and controller; time is that of windows, settling, purges and set points.
 */
import { expandPlan } from '../../app/plan/expand.ts';
import { planSchema } from '../../app/plan/plan.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import type { CountingAttempt, Reduction } from '../../app/reduce/reduction.ts';
import { mapCellsOf, statedOf } from '../../app/schedule/map-cells.ts';
import { cellState } from '../../app/schedule/refine.ts';
import { decideNext } from '../../app/schedule/schedule.ts';
import { mapTables } from '../../app/tables/map.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { oddBench } from './imperfect-bench.ts';
import type { Imperfect, OddBench } from './imperfect-bench.ts';
import { imperfections } from './imperfections.ts';

const widthMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const widths = widthMs.map((w) => w / 1e3);
const table = { voltageV: [9, 10, 11, 12, 13, 13.5, 14, 15, 16], pressureKpa: [300, 350, 400, 450] };
const measured = { voltageV: [9, 10, 12, 14, 16], pressureKpa: [300, 450] };
const period = 20e-3;
/** U95 that the map wants, over what the grid reached. */
const easier = 1;

const planOf = (axes: typeof table, replicates: number, targets?: unknown): Plan =>
  planSchema.parse({
    planVersion: 1, name: 'maps', injectors: Array.from({ length: 8 }, (_, i) => ({ serialNumber: `C-${i + 1}`, type: 'T', channel: i + 1 })),
    axes: { ...axes, widthMs, periodMs: [20], replicates }, window: { minEdges: 120, minS: 2, maxS: 40 },
    // Leaks and nuisances are other questions.
    zero: { windowS: 0 }, pair: { windows: 0 }, look: { windowS: 0 }, invariance: { percent: 0 }, blind: { percent: 0 },
    ...(targets === undefined ? {} : { targets }),
  });

type Design = 'grid' | 'map';

/** One cell of the table of one injector of one bench. */
export interface CellOutcome {
  readonly seed: number;
  readonly design: Design;
  readonly voltage: number;
  readonly pressure: number;
  readonly basis: string;
  readonly inside: boolean;
  readonly slopeInside: boolean;
  /** U95 over what is wanted. */
  readonly ratio: number;
  readonly standing: ReturnType<typeof cellState> | 'missing';
  /** Of the bench, the same in all its cells: time over the grid's, decisions, and changes of pressure. */
  readonly fraction: number;
  readonly decisions: number;
  readonly changes: number;
}

interface Measured {
  readonly plan: Plan;
  readonly bench: OddBench;
  readonly reduction: Reduction;
  readonly points: readonly Point[];
  readonly attempts: readonly CountingAttempt[];
  /** s */
  readonly time: number;
  readonly decisions: number;
}

function measure(seed: number, what: Imperfect, plan: Plan, most: number): Measured {
  let points: readonly Point[] = expandPlan(plan);
  const bench = oddBench(seed, what, plan, { length: most } as unknown as readonly Point[]);
  const attempts: CountingAttempt[] = [];
  let decisions = 0;
  for (;;) {
    for (const point of points.slice(attempts.length)) attempts.push({ point: point.index, attempt: 1, window: bench.windowOf(point) });
    if (plan.targets === undefined) break;
    const { additions } = decideNext({ plan, equipment: bench.equipment, points, attempts, out: new Set() });
    if (additions.length === 0) break;
    decisions += 1;
    const first = points.length;
    points = [...points, ...additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: first + i }))];
  }
  return { plan, bench, reduction: reduceRun({ plan, equipment: bench.equipment, points, attempts }), points, attempts, time: attempts.at(-1)?.window.to ?? 0, decisions };
}

/** The largest U95 that the grid reached at each voltage of the table, as targets. */
function wantedOf({ reduction }: Measured): readonly { readonly voltageV: number; readonly deadTimeUs: number }[] {
  return table.voltageV.map((voltageV) => {
    const reached = reduction.cells.flatMap((c) => (c.kind === 'line' && c.voltage === voltageV ? [c.deadTime.expanded] : []));
    return { voltageV, deadTimeUs: Math.ceil(easier * 1e7 * Math.max(...reached)) / 10 };
  });
}

/** One bench, measured in both ways. */
export function heldOfBench(seed: number, what: Imperfect): CellOutcome[] {
  const grid = measure(seed, what, planOf(table, 3), 10368);
  const atVoltage = wantedOf(grid);
  const map = measure(seed, what, planOf(measured, 1, { map: { ...table, deadTimeUs: 10, atVoltage }, hours: 200, attemptsPerCell: 60 }), 3000);
  const runs: [Design, Measured][] = [['grid', grid], ['map', map]];
  return runs.flatMap(([design, run]) => {
    const slopes = mapTables(run.reduction, 'slope', { voltages: table.voltageV, pressures: table.pressureKpa.map((p) => p * 1e3) });
    const changes = run.points.filter((p, i) => i > 0 && p.pressure !== run.points[i - 1]?.pressure).length;
    const { targets } = map.plan;
    return mapCellsOf({ plan: { ...run.plan, ...(targets === undefined ? {} : { targets }) }, equipment: run.bench.equipment, points: run.points, attempts: run.attempts, out: new Set() }, run.reduction).map((cell): CellOutcome => {
      const { told, voltage, pressure } = cell;
      const stated = statedOf(cell);
      const truth = run.bench.truthAt(cell.injector + 1, voltage, pressure, widths, period);
      const slope = slopes.find((t) => t.of === cell.serialNumber)?.cells[table.voltageV.indexOf(voltage)]?.[table.pressureKpa.indexOf(pressure / 1e3)];
      const within = (one: typeof told | undefined, value: number): boolean => one?.kind === 'value' && Math.abs(one.result.value - value) <= one.result.expanded;
      return {
        seed, design, voltage, pressure, fraction: run.time / grid.time, decisions: run.decisions, changes, basis: told.kind === 'value' ? told.basis : 'missing',
        inside: within(told, truth.deadTime), slopeInside: within(slope, truth.slope), ratio: (stated?.expanded ?? Number.NaN) / cell.wanted, standing: stated === null ? 'missing' : cellState(stated, cell.wanted, true),
      };
    });
  });
}

const mean = (list: readonly number[]): number => list.reduce((sum, one) => sum + one, 0) / list.length;

/** Percent, with its standard error by bench, and that of a binomial law, as if cells were independent. */
function shareOf(list: readonly CellOutcome[], of: (o: CellOutcome) => boolean): { readonly share: number; readonly error: number; readonly binomial: number } {
  const share = list.filter(of).length / list.length;
  const benches = Map.groupBy(list, (o) => o.seed);
  const squares = [...benches.values()].reduce((sum, own) => sum + (own.filter(of).length - share * own.length) ** 2, 0);
  return { share: 100 * share, error: (100 * Math.sqrt(squares)) / list.length, binomial: 100 * Math.sqrt((share * (1 - share)) / list.length) };
}

const text = ({ share, error, binomial }: ReturnType<typeof shareOf>): string => `${share.toFixed(1)} +- ${error.toFixed(1)} (${binomial.toFixed(1)})`;

/** Prints time, targets and coverage; true when the map takes less than half of the grid's time and its intervals hold in 93 to 97 % within two standard errors. */
export async function showMaps(args: readonly string[]): Promise<boolean> {
  const [count = '6', first = '1'] = args;
  const outcomes = await onAllCores<CellOutcome>(import.meta.filename, Array.from({ length: Number(count) }, (_, i) => Number(first) + i), args);
  const say = (line: string): void => void process.stdout.write(`${line}\n`);
  say(`${count} benches of eight injectors from seed ${first}: a table of ${table.voltageV.length} voltages and ${table.pressureKpa.length} pressures, from windows at ${measured.voltageV.join(', ')} V and ${measured.pressureKpa.join(', ')} kPa; wanted is what the grid of all its places reached`);
  say('percent of cells that hold the truth, +- standard error by bench (binomial)');
  for (const design of ['grid', 'map'] as const) {
    const all = outcomes.filter((o) => o.design === design);
    const benches = [...Map.groupBy(all, (o) => o.seed).values()].flatMap(([o]) => (o === undefined ? [] : [o]));
    const fractions = benches.map((o) => o.fraction);
    say(`${design.padEnd(6)} time ${(100 * mean(fractions)).toFixed(1)} % of the grid's (most ${(100 * Math.max(...fractions)).toFixed(1)}), ${mean(benches.map((o) => o.decisions)).toFixed(1)} decisions, ${mean(benches.map((o) => o.changes)).toFixed(1)} changes of pressure a run`);
    say(`       dead time ${text(shareOf(all, (o) => o.inside))}, slope ${text(shareOf(all, (o) => o.slopeInside))}; U95 over wanted ${mean(all.map((o) => o.ratio)).toFixed(3)} in the mean`);
    for (const basis of ['measured', 'interpolated']) {
      const own = all.filter((o) => o.basis === basis);
      if (own.length > 0) say(`       ${basis.padEnd(13)} dead time ${text(shareOf(own, (o) => o.inside))}, slope ${text(shareOf(own, (o) => o.slopeInside))}`);
    }
    say(`       by voltage: ${table.voltageV.map((v) => `${v} V ${text(shareOf(all.filter((o) => o.voltage === v), (o) => o.inside))}`).join('; ')}`);
    say(`       by pressure: ${table.pressureKpa.map((p) => `${p} kPa ${text(shareOf(all.filter((o) => o.pressure === p * 1e3), (o) => o.inside))}`).join('; ')}`);
  }
  const own = outcomes.filter((o) => o.design === 'map');
  const part = (standing: CellOutcome['standing']): string => `${((100 * own.filter((o) => o.standing === standing).length) / own.length).toFixed(1)} %`;
  say(`targets of the map: reached ${part('reached')}, cannot be reached by windows ${part('beyond')}, open ${part('open')}, without a value ${part('missing')}; the farthest cell: ${Math.max(...own.map((o) => o.ratio)).toFixed(2)} of what was wanted`);
  const keeps = ({ share, error }: ReturnType<typeof shareOf>): boolean => share + 2 * error >= 93 && share - 2 * error <= 97;
  return mean(own.map((o) => o.fraction)) < 0.5 && keeps(shareOf(own, (o) => o.inside)) && keeps(shareOf(own, (o) => o.slopeInside));
}

answerPieces(import.meta.filename, (seed) => {
  const [, , , , name] = process.argv;
  const what = name === undefined ? {} : imperfections[name]?.[0];
  if (what === undefined) throw new Error(`there is no imperfection ${name ?? ''}`);
  return heldOfBench(seed, what);
});
