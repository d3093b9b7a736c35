/** Gathers reduced windows into cells, one for each injector, voltage, pressure and period, and fits their lines. */
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { milliseconds } from '../quantities/quantity.ts';
import type { Kilograms, Seconds } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { median } from '../statistics/robust.ts';
import { coverageFactor } from '../uncertainty/budget.ts';
import { typeOfInjector } from './cell.ts';
import type { Cell, FittedCell, Observed, WidthMean } from './cell.ts';
import { fitCellLine } from './line.ts';
import type { LineObservation } from './line.ts';
import { findRegionsTogether, givenRegion } from './linear-region.ts';
import type { Region } from './linear-region.ts';
import type { NoMass } from './mass.ts';
import type { ReducedWindow, ScatterModel } from './reduction.ts';
import { fieller } from './regression.ts';
import { fitVarianceModel, varianceAt } from './variance-model.ts';
import type { Covariance, ScatterGroup, VarianceModel } from './variance-model.ts';
import { aboutLine, widthMeansOf } from './window-weights.ts';

/** Fewer degrees of freedom than this say too little of how scatter grows with mass: the windows' own scatter is used. */
const enoughReplicates = 10;

/** One cell for each injector, voltage, pressure and period that the plan measures, whether it was measured or not. */
export function cellsOf(points: readonly Point[], windows: readonly { readonly reduced: ReducedWindow; readonly window: WindowSummary; readonly order: number }[]): readonly Cell[] {
  const cells = new Map<string, { readonly at: Point; readonly groups: Map<Seconds, Observed[]>; readonly refused: NoMass[] }>();
  const keyOf = rememberingKey(cellKey);
  for (const at of points) {
    if (at.role !== 'measure') continue;
    const key = keyOf(at);
    if (!cells.has(key)) cells.set(key, { at, groups: new Map(), refused: [] });
  }
  for (const { reduced, window, order } of windows) {
    const { at, outcome } = reduced;
    const cell = at.role === 'measure' ? cells.get(keyOf(at)) : undefined;
    if (cell === undefined) continue;
    if (outcome.kind === 'no-mass') {
      cell.refused.push(outcome);
      continue;
    }
    const observed: Observed = { source: reduced, window, order, outcome, mass: outcome.mass };
    const group = cell.groups.get(at.width);
    if (group === undefined) cell.groups.set(at.width, [observed]);
    else group.push(observed);
  }
  return [...cells].map(([key, { at, groups, refused }]) => ({
    key,
    at,
    groups: [...groups].map(([width, observed]) => ({ width, observed })).sort((a, b) => b.width - a.width),
    refused,
  }));
}

type InCell = Pick<Point, 'injector' | 'voltage' | 'pressure' | 'period'>;

function cellKey(at: InCell): string {
  return `${at.injector}|${at.voltage}|${at.pressure}|${at.period}`;
}

/** Windows of one cell follow each other: its key, a text of four numbers, is made once for all that do. */
export function rememberingKey(keyOf: (at: InCell) => string): (at: InCell) => string {
  let last: InCell | null = null;
  let key = '';
  return (at) => {
    if (last?.injector !== at.injector || last.voltage !== at.voltage || last.pressure !== at.pressure || last.period !== at.period) key = keyOf(at);
    last = at;
    return key;
  };
}

/** The same cell with every mass changed. */
export function withMasses(cell: Cell, massOf: (observed: Observed) => Kilograms): Cell {
  return {
    ...cell,
    groups: cell.groups.map(({ width, observed }) => {
      const changed: Observed[] = [];
      for (const o of observed) changed.push({ source: o.source, window: o.window, order: o.order, outcome: o.outcome, mass: massOf(o) });
      return { width, observed: changed };
    }),
  };
}

/** The scatter of windows at each pressure and period. */
export function scatterModels(cells: readonly Cell[]): readonly ScatterModel[] {
  return grouped(cells, ({ at }) => `${at.pressure}|${at.period}`).map((condition) => {
    const [{ at }] = condition;
    return { ...scatterOf(condition), pressure: at.pressure, period: at.period };
  });
}

/** Finds the regions and fits the lines of all cells. `known`: how their windows scatter, where that was found before. */
export function fitCells(cells: readonly Cell[], plan: Plan, known: readonly ScatterModel[] = []): { readonly fitted: readonly FittedCell[]; readonly scatter: readonly ScatterModel[] } {
  const fitted: FittedCell[] = [];
  const scatter: ScatterModel[] = [];
  for (const condition of grouped(cells, ({ at }) => `${at.pressure}|${at.period}`)) {
    const [{ at: { pressure, period } }] = condition;
    const model = known.find((k) => k.pressure === pressure && k.period === period) ?? { ...scatterOf(condition), pressure, period };
    scatter.push(model);
    for (const ofType of grouped(condition, ({ at }) => typeOfInjector(plan, at))) fitted.push(...linesOf(grouped(ofType, ({ at }) => String(at.voltage)), model, plan.reduction));
  }
  return { fitted, scatter };
}

/** In the order of the first of each; none is empty. */
export function grouped<T>(items: readonly T[], key: (item: T) => string): readonly (readonly [T, ...T[]])[] {
  const groups = new Map<string, [T, ...T[]]>();
  for (const item of items) {
    const name = key(item);
    const group = groups.get(name);
    if (group === undefined) groups.set(name, [item]);
    else group.push(item);
  }
  return [...groups.values()];
}

/** How masses scatter at one pressure and period: from replicates, or from inside the windows where those are few. RED-6. */
function scatterOf(cells: readonly Cell[]): VarianceModel {
  const replicates: ScatterGroup[] = [];
  let dof = 0;
  for (const { groups } of cells) {
    for (const { observed } of groups) {
      if (observed.length < 2) continue;
      const mass = meanMass(observed);
      let squares = 0;
      for (const o of observed) squares += (o.mass - mass) ** 2;
      replicates.push({ mass, variance: squares / (observed.length - 1), dof: observed.length - 1, partTurn: meanPartTurn(observed) });
      dof += observed.length - 1;
    }
  }
  if (dof >= enoughReplicates) return fitVarianceModel(replicates, 'replicates');
  const windows: ScatterGroup[] = [];
  for (const { groups } of cells) {
    for (const { observed } of groups) {
      for (const { mass, outcome, window } of observed) {
        if (window.partRates.length < 2) continue;
        windows.push({ mass, variance: (outcome.uRandom * mass) ** 2, dof: window.partRates.length - 1 });
      }
    }
  }
  const beside = fitVarianceModel(cells.flatMap(besideNeighbours), 'neighbours');
  if (windows.length === 0) return overlapping(beside);
  return largerOf(fitVarianceModel(windows, 'windows'), overlapping(beside), median(windows.map((w) => w.mass)));
}

/** Windows may be steadier than they repeat; what they miss the line through their neighbours by is not. RED-82. */
function largerOf(inside: VarianceModel, beside: VarianceModel, mass: number): VarianceModel {
  if (beside.dof < enoughReplicates) return inside;
  return varianceAt(beside, mass) > varianceAt(inside, mass) ? beside : inside;
}

/** Of the widths of a cell so many of the longest, where a line does not bend yet, are held against their neighbours. */
const straightShare = 0.6;
/** Three neighbours overlap with the next three: so much of a degree of freedom does each bring (Gasser, Sroka and Jennen-Steinmetz 1986, from memory). */
const ofOverlap = 0.5;

/** A model of groups that overlap: it is known worse by so much. */
function overlapping(model: VarianceModel): VarianceModel {
  const { dof, covariance } = model;
  const more = (row: Covariance[number]): Covariance[number] => [row[0] / ofOverlap, row[1] / ofOverlap, row[2] / ofOverlap];
  return { ...model, dof: ofOverlap * dof, ...(covariance === undefined ? {} : { covariance: [more(covariance[0]), more(covariance[1]), more(covariance[2])] }) };
}

/** Scatter of windows about the line through the two widths beside them (pseudo-residuals: Gasser, Sroka and Jennen-Steinmetz, Biometrika 73, 1986; from memory). */
function besideNeighbours({ groups }: Cell): readonly ScatterGroup[] {
  const straight = groups.slice(0, Math.max(4, Math.ceil(straightShare * groups.length)));
  const found: ScatterGroup[] = [];
  for (let i = 1; i + 1 < straight.length; i += 1) {
    const [a, b, c] = [straight[i - 1], straight[i], straight[i + 1]];
    const [before, mass, after] = [a?.observed[0]?.mass, b?.observed[0]?.mass, c?.observed[0]?.mass];
    if (a === undefined || b === undefined || c === undefined || before === undefined || mass === undefined || after === undefined) continue;
    const share = (b.width - c.width) / (a.width - c.width);
    const off = mass - share * before - (1 - share) * after;
    // As if scatter were in proportion to mass, which it is nearly among long widths.
    found.push({ mass, variance: (off * off) / (1 + ((share * before) / mass) ** 2 + (((1 - share) * after) / mass) ** 2), dof: 1 });
  }
  return found;
}

function meanPartTurn(observed: readonly Observed[]): number {
  let sum = 0;
  for (const { outcome } of observed) sum += outcome.partTurn;
  return sum / observed.length;
}

/** Mean mass of a width, kg. */
export function meanMass(observed: readonly Observed[]): number {
  let sum = 0;
  for (const o of observed) sum += o.mass;
  return sum / observed.length;
}

/** Regions and lines of the injectors of one type at one pressure and period, a family for each voltage. */
function linesOf(families: readonly (readonly Cell[])[], model: VarianceModel, reduction: Plan['reduction']): readonly FittedCell[] {
  const members = families.map((family) => family.map((cell) => ({ injector: cell.at.injector, dof: model.dof, widths: widthMeansOf(cell, model) })));
  const { linearFromMs } = reduction;
  const regions =
    linearFromMs === undefined ? findRegionsTogether(members, reduction.linearityPercent) : members.map((family) => family.map((m) => givenRegion(m, milliseconds(linearFromMs))));
  return families.flatMap((family, f) => family.map((cell, i) => lineOf(cell, regions[f]?.[i], members[f]?.[i]?.widths ?? [])));
}

function lineOf(cell: Cell, region: Region | undefined, widthMeans: readonly WidthMean[]): FittedCell {
  if (cell.groups.length === 0) {
    const [refused] = cell.refused;
    return { kind: 'no-line', cell, reason: 'not-measured', text: refused === undefined ? 'No accepted attempt counts for any width here.' : refused.text };
  }
  if (region?.kind !== 'region') {
    return {
      kind: 'no-line',
      cell,
      reason: 'too-few-widths',
      text: `A line needs ${region?.needed ?? 0} measured widths in its region and ${region?.found ?? 0} are there.`,
    };
  }
  const used: Observed[] = [];
  const all: LineObservation[] = [];
  const told: boolean[] = [];
  for (let i = 0; i < region.count && i < cell.groups.length; i += 1) {
    const { width, observed } = cell.groups[i] as Cell['groups'][number];
    const { windows, disagrees } = widthMeans[i] ?? { windows: [], disagrees: false };
    for (let j = 0; j < observed.length; j += 1) {
      const o = observed[j] as Observed;
      used.push(o);
      all.push({ width, mass: o.mass, variance: windows[j]?.variance ?? Number.NaN, weight: windows[j]?.weight ?? 1 });
      told.push(observed.length === 1 || disagrees);
    }
  }
  const observations = aboutLine(all, told);
  const line = fitCellLine(observations);
  if (!(line.slope > 0) || !fieller(line.fit, coverageFactor(line.dof)).bounded) {
    return { kind: 'no-line', cell, reason: 'no-slope', text: 'Mass does not grow with pulse width by more than its scatter, so there is no dead time to state.' };
  }
  return { kind: 'line', cell, line, used, observations, widthMeans, stop: region.stop, count: region.count };
}
