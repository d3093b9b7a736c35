/**
 * What do imperfections of a bench do to the stated intervals? `npm run show -- characterisations imperfections [N] [SEED] [NAME...] [--order KIND] [--correct] [--purge-changes]`
 * characterises four injectors on N benches of another hand (`imperfect-bench.ts`) for each imperfection at two strengths and prints
 * one row each; `characterisations pairs [N] [SEED]` draws two imperfections at random for every bench.
 */
import type { Equipment } from '../../app/equipment/equipment.ts';
import { mayBend } from '../../app/reduce/curvature.ts';
import { grantedSentences } from '../../app/equipment/standing.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { planSchema } from '../../app/plan/plan.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import type { LineCell, Reduction } from '../../app/reduce/reduction.ts';
import { mapTables } from '../../app/tables/map.ts';
import { shortPulseTables } from '../../app/tables/short-pulse.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { oddBench } from './imperfect-bench.ts';
import type { Imperfect, OddBench } from './imperfect-bench.ts';

/** Each at two strengths, the weaker first. */
export const imperfections: Readonly<Record<string, readonly [Imperfect, Imperfect]>> = {
  'slow-coil': [{ coil: { kelvinPerWatt: 2, tauS: 10 } }, { coil: { kelvinPerWatt: 2, tauS: 30 } }],
  drift: [{ driftPercentPerH: 0.1 }, { driftPercentPerH: 0.5 }],
  walk: [{ walkPercentPerRootH: 0.1 }, { walkPercentPerRootH: 0.5 }],
  dip: [{ dip: { pascals: 1000, tauS: 3e-4 } }, { dip: { pascals: 2000, tauS: 3e-4 } }],
  'meter-curve': [{ meterCurve: { percent: 0.3, points: 5 } }, { meterCurve: { percent: 0.5, points: 3 } }],
  gross: [{ gross: { part: 0.01, percent: 3 } }, { gross: { part: 0.01, percent: 10 } }],
  tails: [{ studentDof: 4 }, { studentDof: 3 }],
  curvature: [{ curvaturePercent: 0.1 }, { curvaturePercent: 0.3 }],
  'in-rotation': [{ inRotationPercent: 0.3 }, { inRotationPercent: 1 }],
  sag: [{ sagOhm: 0.02 }, { sagOhm: 0.1 }],
};
/** The same where somebody told the record how large it may be, or the controller reads it. */
const told: Readonly<Record<string, readonly [Imperfect, Imperfect]>> = {
  'dip told': [{ dip: { pascals: 1000, tauS: 3e-4, told: true } }, { dip: { pascals: 2000, tauS: 3e-4, told: true } }],
  'sag sampled': [{ sagOhm: 0.02, sagRead: true }, { sagOhm: 0.1, sagRead: true }],
  'sag told': [{ sagOhm: 0.02, sagTold: true }, { sagOhm: 0.1, sagTold: true }],
};
const names = Object.keys(imperfections);

/** A row of the table: what it is called, and the imperfections of a seed. */
interface Row {
  readonly name: string;
  readonly what: (seed: number) => Imperfect;
}

const rows: readonly Row[] = [
  { name: 'none', what: () => ({}) },
  { name: 'none, no bend', what: () => ({ straight: true }) },
  { name: 'slow closing', what: () => ({ slowClosing: true }) },
  ...Object.entries({ ...imperfections, ...told }).flatMap(([name, strengths]) => strengths.map((what, i): Row => ({ name: `${name} ${i + 1}`, what: () => what }))),
];

/** Two different ones, each at either strength. */
function drawPair(seed: number): { readonly names: readonly string[]; readonly what: Imperfect } {
  const random = RandomSource.named(seed, 'pair of imperfections');
  const pick = (of: number): number => Math.floor(random.uniform() * of);
  const first = pick(names.length);
  const second = (first + 1 + pick(names.length - 1)) % names.length;
  const drawn = [first, second].map((index) => ({ name: names[index] ?? '', strength: pick(2) }));
  return {
    names: drawn.map(({ name, strength }) => `${name} ${strength + 1}`),
    what: Object.assign({}, ...drawn.map(({ name, strength }) => imperfections[name]?.[strength] ?? {})) as Imperfect,
  };
}

/** The order of points that a command line asks for: `--order KIND`, else that of a plan that names none. */
export function orderAsked(args: readonly string[]): string {
  const place = args.indexOf('--order');
  return place < 0 ? 'shuffled' : (args[place + 1] ?? '');
}

/** Arguments without the order. */
export const besideOrder = (args: readonly string[]): readonly string[] => args.filter((a, i) => a !== '--order' && args[i - 1] !== '--order' && a !== correcting && a !== seldom);

/** Takes the drift off by the reference point (RED-132). */
const correcting = '--correct';
/** Purges where the injector changes, and not before each window (PLAN-110). */
const seldom = '--purge-changes';

const widthsMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const injectors = [1, 2, 3, 4].map((channel) => ({ serialNumber: `C-${channel}`, type: 'T', channel }));
const planIn = (kind: string): Plan => planSchema.parse({
  planVersion: 1,
  name: 'imperfections',
  injectors,
  axes: { voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 450], widthMs: widthsMs, periodMs: [20], replicates: 3 },
  reference: { injector: 'C-1', voltageV: 14, pressureKpa: 300, widthMs: 6, periodMs: 20, everyPoints: 100 },
  sequence: { kind },
  reduction: { driftCorrection: process.argv.includes(correcting) ? 'reference' : 'none' },
  purge: { when: process.argv.includes(seldom) ? 'injector-changes' : 'each-window' },
  static: { replicates: 3 },
  // A leak is another question, asked by `characterisations --leaks`.
  zero: { windowS: 0 },
  pair: { windows: 0 },
  look: { windowS: 0 },
  invariance: { percent: 0 },
  blind: { percent: 0 },
});
const order = orderAsked(process.argv);
const plan = planIn(order);
const widths = widthsMs.map((w) => w / 1e3);
const period = 20e-3;
/** Where tables are asked, V, Pa and s. */
const table = { voltages: [9.7, 11.2, 13, 15], pressures: [300e3, 375e3], widths: [1.8e-3, 2e-3, 2.1e-3, 2.35e-3] };

type Quantity = 'dead time' | 'slope' | 'static' | 'static/slope' | 'map X' | 'map m' | 'short, measured' | 'short, between' | 'short, unresolved';

export interface Held {
  readonly seed: number;
  readonly row: string;
  readonly quantity: Quantity;
  /** V; 0: belongs to none. */
  readonly voltage: number;
  readonly state: 'stated' | 'marked' | 'refused';
  readonly inside: boolean;
  readonly z: number;
  /** Dead times only: U95, s, and over that of generalised least squares that knows variances, linear end, one slope, and that lines are straight. */
  readonly expanded: number;
  readonly overGls: number;
}

/** One bench of a row, every stated value held against the truth; `kind`: the order of its points. */
export function heldOf(row: string, seed: number, what: Imperfect, kind = order): Held[] {
  const plan = planIn(kind);
  const points = expandPlan(plan);
  const bench = oddBench(seed, what, plan, points);
  const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: bench.windowOf(point) }));
  const reduction = reduceRun({ plan, equipment: bench.equipment, points, attempts });
  const held: Held[] = [];
  const ofRun: Held['state'] = grantedSentences(bench.equipment, reduction.supplyLoss !== undefined).length > 0 ? 'marked' : 'stated';
  const note = (quantity: Quantity, voltage: number, inside: boolean, z: number, state: Held['state'] = ofRun, of = { expanded: 0, overGls: 0 }): void => {
    held.push({ seed, row, quantity, voltage, state, inside, z, ...of });
  };
  // A run that says that its lines may bend says so of its tables as well.
  const ofTables: Held['state'] = reduction.curvatures.some(mayBend) ? 'marked' : ofRun;
  const compare = (quantity: Quantity, voltage: number, { value, expanded, u }: LineCell['slope'], truth: number, state: Held['state'] = ofRun): void =>
    note(quantity, voltage, Math.abs(value - truth) <= expanded, (value - truth) / u, state);
  const truths = new Map<string, ReturnType<OddBench['truthAt']>>();
  const truthAt = (channel: number, voltage: number, pressure: number): ReturnType<OddBench['truthAt']> => {
    const key = `${channel}|${voltage}|${pressure}`;
    const known = truths.get(key) ?? bench.truthAt(channel, voltage, pressure, widths, period);
    truths.set(key, known);
    return known;
  };
  const gls = glsOf(reduction, bench, truthAt);
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') {
      for (const quantity of ['dead time', 'slope', 'static/slope'] as const) note(quantity, cell.voltage, false, 0, 'refused');
      continue;
    }
    const truth = truthAt(cell.injector + 1, cell.voltage, cell.pressure);
    const { low, high } = cell.deadTimeInterval;
    const state = isMarked(cell, bench.equipment, reduction) ? 'marked' : 'stated';
    note('dead time', cell.voltage, truth.deadTime >= low && truth.deadTime <= high, (cell.deadTime.value - truth.deadTime) / cell.deadTime.u, state, {
      expanded: cell.deadTime.expanded,
      overGls: cell.deadTime.expanded / (1.96 * Math.hypot(gls.get(cell) ?? Number.NaN, ...cell.shared.filter((p) => p.source.quantity !== 'line-definition').map((p) => p.onDeadTime))),
    });
    compare('slope', cell.voltage, cell.slope, truth.slope, state);
    if (cell.staticToSlope !== null) compare('static/slope', cell.voltage, cell.staticToSlope, truth.staticFlow / truth.slope, state);
  }
  for (const flow of reduction.staticFlows) {
    if (flow.kind === 'static-flow') compare('static', 0, flow.flow, truthAt(flow.injector + 1, flow.voltage, flow.pressure).staticFlow);
    else note('static', 0, false, 0, 'refused');
  }
  const axes = { voltages: table.voltages, pressures: table.pressures };
  const [deadTimes, slopes, short] = [mapTables(reduction, 'dead-time', axes), mapTables(reduction, 'slope', axes), shortPulseTables(reduction, table.widths)];
  injectors.forEach(({ serialNumber, channel }) => {
    table.voltages.forEach((voltage, row) => {
      table.pressures.forEach((pressure, column) => {
        const truth = truthAt(channel, voltage, pressure);
        for (const [quantity, tables, value] of [['map X', deadTimes, truth.deadTime], ['map m', slopes, truth.slope]] as const) {
          const cell = tables.find((t) => t.of === serialNumber)?.cells[row]?.[column];
          if (cell?.kind === 'value') compare(quantity, voltage, cell.result, value, ofTables);
          else note(quantity, voltage, false, 0, 'refused');
        }
      });
    });
    for (const { rows: own, cells } of short.filter((t) => t.of === serialNumber && t.at === '300 kPa')) {
      own.values.forEach((voltage, row) => {
        const line = truthAt(channel, voltage, 300e3);
        table.widths.forEach((width, column) => {
          const cell = cells[row]?.[column];
          // In the region the correction is 0 by definition.
          if (cell?.kind !== 'value' || cell.result.value === 0) return;
          const quantity = cell.basis === 'unresolved' ? 'short, unresolved' : cell.basis === 'measured' ? 'short, measured' : 'short, between';
          compare(quantity, voltage, cell.result, line.mass(width) - line.slope * (width - line.deadTime), ofTables);
        });
      });
    }
  });
  return held;
}

/** Whether the cell itself, or the run, says that it is not to be relied upon, and why. */
const isMarked = (cell: LineCell, equipment: Equipment, { curvatures, supplyLoss }: Reduction): boolean =>
  (cell.leak?.again ?? null) !== null || grantedSentences(equipment, supplyLoss !== undefined).length > 0 || curvatures.some((c) => mayBend(c) && c.pressure === cell.pressure);

/**
 * Standard uncertainty of every dead time from scatter alone, by generalised least squares that knows the true variances and where each
 * line ends, with one slope for the voltages of an injector: what nobody can do better.
 */
function glsOf(reduction: Reduction, bench: OddBench, truthAt: (channel: number, voltage: number, pressure: number) => ReturnType<OddBench['truthAt']>): ReadonlyMap<LineCell, number> {
  const result = new Map<LineCell, number>();
  const groups = new Map<string, LineCell[]>();
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') continue;
    const key = `${cell.injector}|${cell.pressure}`;
    groups.set(key, [...(groups.get(key) ?? []), cell]);
  }
  for (const cells of groups.values()) {
    let all = 0;
    const centres = new Map<LineCell, { readonly weights: number; readonly mean: number }>();
    for (const cell of cells) {
      const truth = truthAt(cell.injector + 1, cell.voltage, cell.pressure);
      const from = truth.linearFrom(widths);
      const used = widths.filter((w) => w >= from).map((w) => ({ w, weight: plan.axes.replicates / bench.scatterOf(truth.mass(w), truth.slope) ** 2 }));
      const weights = used.reduce((sum, { weight }) => sum + weight, 0);
      const mean = used.reduce((sum, { w, weight }) => sum + weight * w, 0) / weights;
      all += used.reduce((sum, { w, weight }) => sum + weight * (w - mean) ** 2, 0);
      centres.set(cell, { weights, mean });
    }
    for (const [cell, { weights, mean }] of centres) {
      const truth = truthAt(cell.injector + 1, cell.voltage, cell.pressure);
      result.set(cell, Math.sqrt(1 / weights + (mean - truth.deadTime) ** 2 / all) / truth.slope);
    }
  }
  return result;
}

/** Share inside, percent, with its standard error by characterisation, whose values share their instruments. */
function shareOf(list: readonly Held[]): { readonly share: number; readonly error: number } {
  const share = list.filter((h) => h.inside).length / list.length;
  const benches = new Map<string, { inside: number; of: number }>();
  for (const { row, seed, inside } of list) {
    const bench = benches.get(`${row}|${seed}`) ?? { inside: 0, of: 0 };
    bench.inside += inside ? 1 : 0;
    bench.of += 1;
    benches.set(`${row}|${seed}`, bench);
  }
  let squares = 0;
  for (const { inside, of } of benches.values()) squares += (inside - share * of) ** 2;
  return { share: 100 * share, error: (100 * Math.sqrt(squares)) / list.length };
}

const columns: readonly Quantity[] = ['slope', 'static', 'static/slope', 'map X', 'map m', 'short, measured', 'short, between', 'short, unresolved'];
const head =
  `${''.padEnd(16)}${'dead time'.padStart(10)}${plan.axes.voltageV.map((v) => `${v} V`.padStart(10)).join('')}${'U95 us'.padStart(8)}${'/GLS'.padStart(7)}` +
  `${['slope', 'Qs', 'Qs/m', 'map X', 'map m', 'short', 'between', 'unres.'].map((c) => c.padStart(10)).join('')}${'marked'.padStart(8)}${'refused'.padStart(8)}\n`;

function printRow(name: string, held: readonly Held[]): void {
  const stated = held.filter((h) => h.state !== 'refused');
  const share = (list: readonly Held[]): string => {
    if (list.length === 0) return '-'.padStart(10);
    const { share: percent, error } = shareOf(list);
    return `${percent.toFixed(1)}+-${error.toFixed(1)}`.padStart(10);
  };
  const deadTimes = stated.filter((h) => h.quantity === 'dead time');
  const asked = held.filter((h) => h.quantity === 'dead time');
  const median = (read: (h: Held) => number): number => deadTimes.map(read).sort((a, b) => a - b)[Math.floor(deadTimes.length / 2)] ?? Number.NaN;
  const mean = deadTimes.reduce((sum, h) => sum + h.overGls, 0) / deadTimes.length;
  const part = (state: Held['state']): string => `${((100 * asked.filter((h) => h.state === state).length) / asked.length).toFixed(0)} %`.padStart(8);
  const byVoltage = plan.axes.voltageV.map((v) => {
    const here = deadTimes.filter((h) => h.voltage === v);
    return share(here);
  });
  process.stdout.write(
    `${name.padEnd(16)}${share(deadTimes)}${byVoltage.join('')}${(1e6 * median((h) => h.expanded)).toFixed(1).padStart(8)}${mean.toFixed(2).padStart(7)}` +
      `${columns.map((quantity) => share(stated.filter((h) => h.quantity === quantity))).join('')}${part('marked')}${part('refused')}\n`,
  );
}

/** Percent that hold the truth in `low` to `high`, within two standard errors; or the cells are refused or marked. */
const wanted = { low: 93, high: 97 };
const judged: readonly Quantity[] = ['dead time', 'slope', 'static/slope', 'map X', 'map m', 'short, measured', 'short, between'];
/** So many benches at least tell a share and its standard error. */
const fewestBenches = 20;

/** What of a row is neither within the wanted share nor marked nor refused: of dead times at each voltage, of the others over all. */
function missed(held: readonly Held[]): readonly string[] {
  const unmarked = held.filter((h) => h.state === 'stated');
  const ask = (what: string, list: readonly Held[]): readonly string[] => {
    if (new Set(list.map((h) => h.seed)).size < fewestBenches) return [];
    const { share, error } = shareOf(list);
    const off = share + 2 * error < wanted.low ? 'below' : share - 2 * error > wanted.high ? 'above' : null;
    return off === null ? [] : [`${what} ${share.toFixed(1)}+-${error.toFixed(1)} ${off}`];
  };
  return [
    ...plan.axes.voltageV.flatMap((v) => ask(`dead time at ${v} V`, unmarked.filter((h) => h.quantity === 'dead time' && h.voltage === v))),
    ...judged.flatMap((quantity) => ask(quantity, unmarked.filter((h) => h.quantity === quantity))),
  ];
}

/** Prints what `missed` says of a row; true when that is nothing. */
function printVerdict(held: readonly Held[]): boolean {
  const off = missed(held);
  const deadTimes = held.filter((h) => h.quantity === 'dead time');
  const unmarked = deadTimes.filter((h) => h.state === 'stated').length;
  process.stdout.write(`${''.padEnd(4)}of what is not marked (${((100 * unmarked) / deadTimes.length).toFixed(0)} % of dead times): ${off.length === 0 ? 'holds' : off.join(', ')}\n`);
  return off.length === 0;
}

/** `pairs` or names of imperfections, all where there are none; N benches a row; the first seed. */
function asked(args: readonly string[]): { readonly pairs: boolean; readonly chosen: readonly Row[]; readonly count: number; readonly first: number } {
  const [kind, ...rest] = besideOrder(args);
  const numbers = rest.filter((a) => /^\d+$/.test(a)).map(Number);
  const told = rest.filter((a) => !/^\d+$/.test(a));
  const chosen = told.length === 0 ? rows : rows.filter((row) => told.some((name) => row.name === name || row.name.startsWith(`${name} `)));
  if (chosen.length === 0) throw new Error(`Which imperfection? none, ${names.join(', ')}`);
  return { pairs: kind === 'pairs', chosen, count: numbers[0] ?? 200, first: numbers[1] ?? 1 };
}

/** Prints the table, and for each row what is neither within two standard errors of 93 to 97 % nor marked; true when that is nothing. */
export async function showImperfections(args: readonly string[]): Promise<boolean> {
  const { pairs, chosen, count, first } = asked(args);
  const pieces = Array.from({ length: pairs ? count : chosen.length * count }, (_, i) => i);
  const held = await onAllCores<Held>(import.meta.filename, pieces, args);
  process.stdout.write(`Share of stated 95 % intervals that hold the truth, percent, ${count} characterisations of four injectors a row from seed ${first} (+-: standard error by characterisation; U95 and /GLS of dead times)\n${head}`);
  const print = (name: string, list: readonly Held[]): boolean => {
    printRow(name, list);
    return printVerdict(list);
  };
  if (!pairs) return chosen.map(({ name }) => print(name, held.filter((h) => h.row === name))).every((holds) => holds);
  const all = print('pairs', held.map((h) => ({ ...h, row: 'pairs' })));
  for (const name of names) print(`with ${name}`, held.filter((h) => h.row.includes(name)));
  return all;
}

answerPieces(import.meta.filename, (piece) => {
  const { pairs, chosen, count, first } = asked(process.argv.slice(2));
  if (pairs) {
    const { names: drawn, what } = drawPair(first + piece);
    return heldOf(drawn.join(' + '), first + piece, what);
  }
  const row = chosen[Math.floor(piece / count)];
  if (row === undefined) throw new Error('no such row');
  const seed = first + (piece % count);
  return heldOf(row.name, seed, row.what(seed));
});
