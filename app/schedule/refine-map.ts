/**
 * Which windows bring the cells of a map to their targets soonest (SCH-14 to SCH-16). A cell of a map is told by lines at several voltages and pressures: each counts by what one standard uncertainty of its height
 * moves the cell, and windows go where they take the most off the worst cell for each second, a change of voltage, pressure and injector counted.
 */
import type { LineCell } from '../reduce/reduction.ts';
import type { Seconds } from '../quantities/quantity.ts';
import { microsecondsText } from './cells.ts';
import type { Block, CellWish, WantedCell } from './cells.ts';
import { statedOf } from './map-cells.ts';
import type { MapCell } from './map-cells.ts';
import { add, aimOf, doubtWords, farOff, mostAtOnce, sumsOf, withOne } from './refine.ts';
import type { Refining, Sums } from './refine.ts';

/** The lines of one injector at one pressure: they share a slope. */
interface Level {
  readonly block: Block;
  readonly lines: readonly Sums[];
  /** Precision of the common slope, s2/kg2. */
  precision: number;
  readonly before: number;
}

/** A cell that is above its target, as it is foreseen. */
interface Goal {
  readonly cell: MapCell;
  readonly aimed: number;
  /** Of which its ratio is taken: what it is brought to, or, where that only weighs, what is wanted. */
  readonly per: number;
  readonly least: number;
  readonly coverageFactor: number;
  /** How far one standard uncertainty of each line's height moves the cell, over that standard uncertainty: s for a second of dead time. */
  readonly weights: ReadonlyMap<Sums, number>;
  /** Of a slope: its variance by scatter as it was found, by level, relative. */
  readonly ofLevels: ReadonlyMap<Level, number>;
  /** What was found over what the sums say. */
  readonly scale: number;
}

interface Candidate {
  readonly level: Level;
  readonly sums: Sums;
  readonly width: Seconds;
}

/** The line of a candidate as it would be with its window. */
type After = Candidate & { readonly height: number; readonly centre: number; readonly precision: number };

export interface MapRefining extends Refining {
  /** The pressure that is set, Pa, and what a change of it takes, s. */
  readonly set: number;
  readonly change: number;
}

/** What brings the map's cells nearer to their targets from the lines of these blocks, each wish with its block; none: all that can be reached are, or their lines have had their windows. */
export function mapRefinement(blocks: readonly Block[], cells: readonly MapCell[], refining: MapRefining): readonly { readonly block: Block; readonly wishes: readonly CellWish[] }[] {
  const injectors = [...new Set(cells.map((c) => c.injector))];
  const wishes = injectors.flatMap((injector) => ofInjector(blocks, injector, cells.filter((c) => c.injector === injector), refining));
  return blocks.flatMap((block) => {
    const here = wishes.filter((w) => w.block === block).map((w) => w.wish);
    return here.length === 0 ? [] : [{ block, wishes: here }];
  });
}

function ofInjector(blocks: readonly Block[], injector: number, cells: readonly MapCell[], refining: MapRefining): readonly { readonly block: Block; readonly wish: CellWish }[] {
  const levels = blocks.flatMap((block) => levelOf(block, injector));
  const goals = cells.flatMap((cell) => goalOf(cell, levels, refining.weighs ?? false));
  if (goals.length === 0) return [];
  const why = new Map<Sums, string>();
  const room = ({ cell, added }: Sums): boolean => cell.points + added.length < refining.most;
  const doubts = levels.flatMap((level) => doubtsOf(level, goals)).filter(({ sums }) => room(sums));
  for (const { level, sums, width } of doubts) {
    level.precision += add(sums, width);
    why.set(sums, doubtWords(sums.cell, width));
  }
  const isDoubted = (sums: Sums): boolean => doubts.some((d) => d.sums === sums);
  const rest = goals.filter((goal) => !doubts.some(({ level, sums }) => restsOn(goal, level, sums)));
  const candidates = levels.flatMap((level) => level.lines.flatMap((sums) => [sums.line.region.from, sums.line.region.to].map((width) => ({ level, sums, width }))));
  for (let count = 0; count < (refining.atOnce ?? mostAtOnce); count += 1) {
    const inRoom = candidates.filter(({ sums }) => room(sums) && !isDoubted(sums));
    const best = bestOf(rest, inRoom, refining);
    if (best === null) break;
    best.candidate.level.precision += add(best.candidate.sums, best.candidate.width);
    if (!why.has(best.candidate.sums)) why.set(best.candidate.sums, wordsOf(best.candidate, best.goal));
  }
  return levels.flatMap(({ block, lines }) => lines.flatMap((sums) => (sums.added.length === 0 ? [] : [{ block, wish: { cell: sums.cell, widths: sums.added, rule: isDoubted(sums) ? 'SCH-40' : 'SCH-15', why: why.get(sums) ?? '' } }])));
}

/** Lines that cells above their target rest on and that their widths miss by more than windows scatter, each with the width that tells whether by chance. SCH-40 */
const doubtsOf = (level: Level, goals: readonly Goal[]): readonly Candidate[] =>
  level.lines.flatMap((sums) => {
    const width = level.block.scatter !== null && goals.some((goal) => restsOn(goal, level, sums)) ? farOff(sums, level.block.scatter) : null;
    return width === null ? [] : [{ level, sums, width }];
  });

/** Whether a cell of the map would be another if this line were. */
const restsOn = ({ cell, weights, ofLevels }: Goal, level: Level, sums: Sums): boolean => (cell.of === 'slope' ? (ofLevels.get(level) ?? 0) > 0 : (weights.get(sums) ?? 0) !== 0);

function levelOf(block: Block, injector: number): readonly Level[] {
  const { scatter } = block;
  const found = block.cells.flatMap((cell): readonly { readonly cell: WantedCell; readonly line: LineCell }[] => (cell.injector === injector && cell.found?.kind === 'line' ? [{ cell, line: cell.found }] : []));
  if (scatter === null || found.length === 0) return [];
  const precision = Math.max(...found.map(({ line }) => 1 / line.scatter.uSlope ** 2));
  return [{ block, precision, before: precision, lines: found.map(({ cell, line }) => sumsOf(cell, line, scatter)) }];
}

/** Only of cells that more windows should bring nearer. */
function goalOf(cell: MapCell, levels: readonly Level[], weighs: boolean): readonly Goal[] {
  const stated = statedOf(cell);
  if (cell.told.kind === 'missing' || stated === null) return [];
  const aimed = aimOf(weighs ? 0 : cell.wanted, stated.least);
  if (!(stated.expanded > aimed)) return [];
  const { carried, result } = cell.told;
  const unit = cell.of === 'slope' ? result.value : 1;
  const effect = (key: string): number => (carried.parts.get(key)?.effect ?? 0) / unit;
  const weights = new Map(levels.flatMap((level) => level.lines.map((sums) => [sums, effect(sums.line.scatter.meanSource.key) / (-sums.line.scatter.uMean / sums.line.slope.value)] as const)));
  const ofLevels = new Map(levels.map((level) => [level, new Set(level.lines.flatMap(({ line }) => line.scatter.slopeParts.map((p) => p.source.key)))] as const).map(([level, keys]) => [level, [...keys].reduce((sum, key) => sum + effect(key) ** 2, 0)]));
  const goal = { cell, aimed, per: weighs ? cell.wanted : aimed, least: stated.least, coverageFactor: result.coverageFactor, weights, ofLevels, scale: 1 };
  const modelled = varianceOf(goal, null);
  return modelled > 0 ? [{ ...goal, scale: result.uRandom / unit / Math.sqrt(modelled) }] : [];
}

/** Variance of a cell by scatter as the sums have it, with one more window where `after` is given. */
function varianceOf({ cell, weights, ofLevels }: Pick<Goal, 'cell' | 'weights' | 'ofLevels'>, after: After | null): number {
  let variance = 0;
  for (const [level, found] of ofLevels) {
    const precision = level.precision + (after?.level === level ? after.precision : 0);
    if (cell.of === 'slope') {
      variance += (found * level.before) / precision;
      continue;
    }
    let turned = 0;
    for (const sums of level.lines) {
      const { height, centre } = after?.sums === sums ? after : sums;
      const byHeight = (weights.get(sums) ?? 0) / sums.line.slope.value;
      variance += byHeight ** 2 / height;
      turned += byHeight * (centre - sums.line.deadTime.value);
    }
    variance += turned ** 2 / precision;
  }
  return variance;
}

const foreseenOf = (goal: Goal): number => Math.hypot(goal.coverageFactor * goal.scale * Math.sqrt(varianceOf(goal, null)), goal.least);

/** The window that takes the most off the worst cell that a window can still bring nearer, for each second. */
function bestOf(goals: readonly Goal[], candidates: readonly Candidate[], refining: MapRefining): { readonly candidate: Candidate; readonly goal: Goal } | null {
  const falling = goals.map((goal) => ({ goal, foreseen: foreseenOf(goal) })).filter(({ goal, foreseen }) => foreseen > goal.aimed).toSorted((a, b) => b.foreseen / b.goal.per - a.foreseen / a.goal.per);
  for (const { goal } of falling) {
    const before = varianceOf(goal, null);
    let best: Candidate | null = null;
    let most = 0;
    for (const candidate of candidates) {
      const gain = (before - varianceOf(goal, { ...candidate, ...withOne(candidate.sums, candidate.width) })) / secondsOf(candidate, refining);
      if (gain > most) [most, best] = [gain, candidate];
    }
    if (best !== null && most > 1e-9 * before) return { candidate: best, goal };
  }
  return null;
}

/** What a window takes with what comes before it: settling, a voltage that is set for it alone, and its share of a change of pressure. */
const secondsOf = ({ level, sums, width }: Candidate, { minS, besides, set, change }: MapRefining): number =>
  (sums.cell.seconds.get(width) ?? minS) + besides + (sums.added.length > 0 ? 0 : besides) + (level.block.pressure === set ? 0 : change / mostAtOnce);

function wordsOf({ level, sums, width }: Candidate, { cell }: Goal): string {
  const end = width === sums.line.region.from ? 'short end' : 'long end';
  return `${end} of ${sums.cell.serialNumber} at ${sums.cell.voltage} V and ${level.block.pressure / 1e3} kPa; map of ${cell.of === 'slope' ? 'slopes' : 'dead times'} at ${mapPlace(cell)}: ${nowText(cell)}`;
}

export const mapPlace = ({ voltage, pressure }: { readonly voltage: number; readonly pressure: number }): string => `${voltage} V and ${Number((pressure / 1e3).toFixed(3))} kPa`;

const unitText = (of: MapCell['of'], value: number): string => (of === 'slope' ? `${(100 * value).toFixed(2)} %` : microsecondsText(value));

const nowText = (cell: MapCell): string => `U95 ${unitText(cell.of, statedOf(cell)?.expanded ?? 0)} now, ${unitText(cell.of, cell.wanted)} wanted`;
