/**
 * Which windows bring the cells of an injector to their targets soonest (SCH-7, SCH-8): by what each takes off the worst of them for each second. With one slope over
 * the voltages the long widths anywhere tell the slope and the short end of a line its dead time (c-optimal design: Elfving 1952, from memory).
 */
import type { LineCell, ScatterModel } from '../reduce/reduction.ts';
import { varianceAt } from '../reduce/variance-model.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { Result } from '../uncertainty/budget.ts';
import { cellName, microsecondsText } from './cells.ts';
import type { Block, WantedCell, CellWish } from './cells.ts';

/** What is foreseen, in parts of what is wanted: what is found differs from what was foreseen. */
export const aim = 0.99;
/** Windows that one decision adds to an injector, at most: then it is looked at what they brought. */
export const mostAtOnce = 10;
/** The short end of every line has so many windows at least: repeatability is told by replicates, and a bend shows there first. */
const leastAtEnd = 2;
/** Widths that are the short end. */
const endWidths = 2;
/** The same of a type that is known: where its lines bend need not be seen. */
const knownEndWidths = 1;
/** So near to what the shared parts alone leave a result is brought, and no nearer: beyond it each per cent takes as many windows as all before. Common practice, no source. */
const nearest = 1.05;

/** A line as the sum of its windows; masses and widths in SI units. */
export interface Sums {
  readonly cell: WantedCell;
  readonly line: LineCell;
  /** Precision of the height, 1/kg2, and where, s. */
  height: number;
  centre: number;
  readonly added: Seconds[];
  /** What was found of dead time and slope over what the sums alone say: lines that lean on a common slope only in part are known less well. */
  readonly ofDeadTime: number;
  readonly ofSlope: number;
  /** Variance of one window of a width, as this line found it, kg2. */
  readonly varianceOf: (width: number) => number;
}

/** What is farthest from what is wanted. */
interface Worst {
  readonly sums: Sums;
  readonly of: 'dead-time' | 'slope';
}

/** U95 that a result is brought to: what is wanted of it, or as near as is sensible to what no window takes off it. SCH-8 */
export const aimOf = (wanted: number, least: number): number => Math.max(wanted, nearest * least);

/** U95 that no window takes off a result. */
export const leastOf = ({ uShared, coverageFactor }: Pick<Result, 'uShared' | 'coverageFactor'>): number => coverageFactor * uShared;

/** How a result stands that is wanted to a U95. beyond: no sensible number of windows brings it there. used-up: there is no `room` for more. SCH-31 */
export function cellState({ expanded, least }: { readonly expanded: number; readonly least: number }, wanted: number, room: boolean): 'reached' | 'beyond' | 'used-up' | 'open' {
  if (expanded <= wanted) return 'reached';
  if (aimOf(wanted, least) > wanted) return 'beyond';
  return room ? 'open' : 'used-up';
}

/** `slopeWanted`: U95 of the slope, relative; null: as it comes. `most`: windows of one cell. `besides`: seconds that a window takes beside its length. */
export interface Refining {
  readonly slopeWanted: number | null;
  readonly most: number;
  readonly besides: number;
  readonly minS: number;
  /** Whether what is wanted only says how cells compare, and each is brought as near as is sensible to what instruments leave. SCH-18 */
  readonly weighs?: boolean;
  /** Windows added to an injector before it is looked at what they brought; absent: ten. */
  readonly atOnce?: number;
}

/** What brings the cells of a block nearer to their targets; none: all that can be reached are, or have had their windows. */
export function refinementOf(block: Block, refining: Refining): readonly CellWish[] {
  const injectors = [...new Set(block.cells.map((c) => c.injector))];
  const wishes = injectors.flatMap((injector) => ofInjector(block.cells.filter((c) => c.injector === injector), block, refining));
  const replicates = wishes.filter((w) => w.rule === 'SCH-6');
  return replicates.length > 0 ? replicates : wishes;
}

function ofInjector(cells: readonly WantedCell[], block: Block, refining: Refining): readonly CellWish[] {
  const model = block.scatter;
  if (model === null) return [];
  const found = cells.flatMap((cell) => (cell.found?.kind === 'line' ? [{ cell, line: cell.found }] : []));
  let slopePrecision = Math.max(0, ...found.map(({ line }) => 1 / line.scatter.uSlope ** 2));
  const lines = found.map(({ cell, line }) => sumsOf(cell, line, model, slopePrecision));
  const why = new Map<string, string>();
  const room = (s: Sums): boolean => s.cell.points + s.added.length < refining.most;
  for (const s of lines) {
    for (const { width } of s.line.widths.filter((w) => w.inRegion).slice(block.known.has(s.cell.type) ? -knownEndWidths : -endWidths)) {
      const missing = Math.max(0, leastAtEnd - (s.cell.tried.get(width) ?? 0));
      for (let i = 0; i < missing && room(s); i += 1) {
        slopePrecision += add(s, width);
        why.set(cellName(s.cell), `short end of ${s.cell.serialNumber} at ${s.cell.voltage} V: it is measured ${leastAtEnd} times at least`);
      }
    }
  }
  // First the replicates of all: they tell how windows scatter, and by that where lines end.
  const replicates = why.size > 0;
  for (let added = 0; !replicates && added < (refining.atOnce ?? mostAtOnce); added += 1) {
    const worst = worstOf(lines, slopePrecision, refining, room);
    if (worst === null) break;
    const best = bestFor(worst.sums, lines, slopePrecision, refining, room);
    if (best === null) break;
    slopePrecision += add(best.sums, best.width);
    const name = cellName(best.sums.cell);
    if (!why.has(name) || why.get(name)?.startsWith('short end') === true) why.set(name, wordsOf(best, worst, refining.slopeWanted));
  }
  return lines.flatMap((s): readonly CellWish[] => (s.added.length === 0 ? [] : [{ cell: s.cell, widths: s.added, rule: replicates ? 'SCH-6' : 'SCH-7', why: why.get(cellName(s.cell)) ?? '' }]));
}

function wordsOf({ sums, width }: { readonly sums: Sums; readonly width: Seconds }, { sums: worst, of }: Worst, slopeWanted: number | null): string {
  const { line, cell } = worst;
  const need =
    of === 'slope'
      ? `slope of ${cell.serialNumber}: U95 ${((100 * line.slope.expanded) / line.slope.value).toFixed(2)} % now, ${(100 * (slopeWanted ?? 0)).toFixed(2)} % wanted`
      : `dead time of ${cell.serialNumber} at ${cell.voltage} V: U95 ${microsecondsText(line.deadTime.expanded)} now, ${microsecondsText(cell.wanted)} wanted`;
  const end = width === sums.line.region.from ? 'short end' : 'long end';
  return `${end} of ${sums.cell.serialNumber} at ${sums.cell.voltage} V; ${need}`;
}

/** The line of a cell, with the variances scaled as the reduction found them. */
export function sumsOf(cell: WantedCell, line: LineCell, model: ScatterModel, slopePrecision: number): Sums {
  let precision = 0;
  for (const { windows, mass, inRegion } of line.widths) if (inRegion) precision += windows / varianceAt(model, mass);
  const height = 1 / line.scatter.uMean ** 2;
  const scale = precision / height;
  const varianceOf = (width: number): number => scale * varianceAt(model, line.slope.value * (width - line.deadTime.value));
  const centre = line.deadTime.value + line.scatter.distance;
  const sums = { cell, line, height, centre, added: [], varianceOf, ofDeadTime: 1, ofSlope: line.slope.uRandom * Math.sqrt(slopePrecision) };
  return { ...sums, ofDeadTime: line.deadTime.uRandom / modelled(sums, height, centre, slopePrecision) };
}

/** One window more; by how much the precision of the common slope grows. */
export function add(s: Sums, width: Seconds): number {
  const { precision, height, centre } = withOne(s, width);
  s.height = height;
  s.centre = centre;
  s.added.push(width);
  return precision;
}

export function withOne(s: Sums, width: number): { readonly height: number; readonly centre: number; readonly precision: number } {
  const own = 1 / s.varianceOf(width);
  const height = s.height + own;
  return { height, centre: (s.height * s.centre + own * width) / height, precision: ((s.height * own) / height) * (width - s.centre) ** 2 };
}

/** Standard uncertainty of a dead time by scatter, s, before it is held against what the reduction found. */
const modelled = ({ line }: Sums, height: number, centre: number, slopePrecision: number): number => Math.sqrt(1 / height + (centre - line.deadTime.value) ** 2 / slopePrecision) / line.slope.value;

/** The same, s. */
const randomOf = (s: Sums, slopePrecision: number): number => s.ofDeadTime * modelled(s, s.height, s.centre, slopePrecision);

/** How far a result is foreseen to be, in times of what it is brought to, or, where that only weighs, of what is wanted; 0: it is there, or as near as is sensible. */
function farFrom(wanted: number, of: Result, random: number, weighs: boolean): number {
  const foreseen = of.coverageFactor * Math.hypot(random, of.uShared);
  const aimed = aimOf(weighs ? 0 : wanted, leastOf(of));
  if (!weighs) return of.expanded > aimed ? foreseen / aimed : 0;
  return of.expanded > aimed && foreseen > aim * aimed ? foreseen / wanted : 0;
}

/** The cell that is farthest from what is wanted, of those that are not there and can be brought nearer; null: none is above the aim. */
function worstOf(lines: readonly Sums[], slopePrecision: number, { slopeWanted, weighs = false }: Refining, room: (s: Sums) => boolean): Worst | null {
  let worst: Worst | null = null;
  let most = weighs ? 0 : aim;
  for (const s of lines) {
    if (!room(s)) continue;
    const { slope, deadTime } = s.line;
    const ofSlope = slopeWanted === null ? 0 : farFrom(slopeWanted * slope.value, slope, s.ofSlope / Math.sqrt(slopePrecision), weighs);
    if (ofSlope > most) [most, worst] = [ofSlope, { sums: s, of: 'slope' }];
    const ratio = farFrom(s.cell.wanted, deadTime, randomOf(s, slopePrecision), weighs);
    if (ratio > most) [most, worst] = [ratio, { sums: s, of: 'dead-time' }];
  }
  return worst;
}

/** The window that takes the most off `worst` in a second. */
function bestFor(worst: Sums, lines: readonly Sums[], slopePrecision: number, { besides, minS }: Refining, room: (s: Sums) => boolean): { readonly sums: Sums; readonly width: Seconds } | null {
  const before = modelled(worst, worst.height, worst.centre, slopePrecision) ** 2;
  let best: { readonly sums: Sums; readonly width: Seconds } | null = null;
  let most = 0;
  for (const s of lines) {
    if (!room(s)) continue;
    for (const width of [s.line.region.from, s.line.region.to]) {
      const { height, centre, precision } = withOne(s, width);
      const after = s === worst ? modelled(worst, height, centre, slopePrecision + precision) : modelled(worst, worst.height, worst.centre, slopePrecision + precision);
      const gain = (before - after ** 2) / ((s.cell.seconds.get(width) ?? minS) + besides + (s === worst || s.added.length > 0 ? 0 : besides));
      if (gain > most) [most, best] = [gain, { sums: s, width }];
    }
  }
  return best;
}
