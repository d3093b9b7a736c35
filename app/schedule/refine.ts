/**
 * Which windows bring the cells of an injector to their targets soonest (SCH-7, SCH-8): by what each takes off the worst of them for each second. With one slope over
 * the voltages the long widths anywhere tell the slope and the short end of a line its dead time (c-optimal design: Elfving 1952, from memory).
 */
import { grouped } from '../reduce/cells.ts';
import type { LineCell, ScatterModel } from '../reduce/reduction.ts';
import { varianceAt } from '../reduce/variance-model.ts';
import type { Seconds } from '../quantities/quantity.ts';
import type { Result } from '../uncertainty/budget.ts';
import { cellName, microsecondsText, millisecondsText } from './cells.ts';
import type { Block, WantedCell, CellWish } from './cells.ts';

/** Windows that one decision adds to an injector for a map or for its static flows, at most: then it is looked at what they brought. */
export const mostAtOnce = 10;
/** The same for its lines, and not more than this part of what it has had: scatter and slopes that few windows tell ask for too many of them. Found on simulated benches. */
const fewForLines = 2;
const partForLines = 1 / 16;
/** The short end of every line has so many windows at least: repeatability is told by replicates, and a bend shows there first. */
const leastAtEnd = 2;
/** Widths that are the short end. */
const endWidths = 2;
/** The same of a type that is known: where its lines bend need not be seen. */
const knownEndWidths = 1;
/** So near to what the shared parts alone leave a result is brought, and no nearer: beyond it each per cent takes as many windows as all before. Common practice, no source. */
const nearest = 1.05;

/** What a result is judged by. */
type Lasting = Pick<Result, 'coverageFactor' | 'expanded' | 'uShared'>;

/** A line as the sum of its windows; masses and widths in SI units. */
export interface Sums {
  readonly cell: WantedCell;
  readonly line: LineCell;
  /** Precision of the height, 1/kg2, and where, s. */
  height: number;
  centre: number;
  readonly added: Seconds[];
  /** Its dead time, as far as it lasts. */
  readonly lasting: Lasting;
  /** Variance of one window of a width, as this line found it, kg2. */
  readonly varianceOf: (width: number) => number;
}

/** A line as it would be with one window more, and by how much the precision of the common slope would grow. */
interface Next {
  readonly sums: Sums;
  readonly height: number;
  readonly centre: number;
  readonly precision: number;
}

/** A result that is not where it is wanted. */
interface Goal {
  readonly sums: Sums;
  readonly of: 'dead-time' | 'slope';
  /** In times of what it is brought to: as it is foreseen, and with one window more. */
  readonly far: number;
  readonly farWith: (next: Next) => number;
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
  /** Windows added to an injector before it is looked at what they brought; absent: two for its lines, or a sixteenth of those that it has had, ten for its map. */
  readonly atOnce?: number;
}

/** What brings the cells of a block nearer to their targets; none: all that can be reached are, or have had their windows. */
export function refinementOf(block: Block, refining: Refining): readonly CellWish[] {
  const { scatter } = block;
  if (scatter === null) return [];
  const injectors = grouped(block.cells, (c) => String(c.injector)).map((cells) => ({ cells, lines: sumsOfAll(cells, scatter) }));
  const ofType = spreadsOf(injectors.flatMap(({ lines }) => lines), block, scatter);
  const wishes = injectors.flatMap(({ cells, lines }) => ofInjector(cells, lines, slopesOf(lines, scatter, ofType), { ...block, scatter }, refining));
  const replicates = wishes.filter((w) => w.rule === 'SCH-6');
  return replicates.length > 0 ? replicates : wishes;
}

const sumsOfAll = (cells: readonly WantedCell[], model: ScatterModel): readonly Sums[] => cells.flatMap((cell) => (cell.found?.kind === 'line' ? [sumsOf(cell, cell.found, model)] : []));

function ofInjector(cells: readonly WantedCell[], lines: readonly Sums[], slopes: Slopes, block: Block & { readonly scatter: ScatterModel }, refining: Refining): readonly CellWish[] {
  const why = new Map<string, string>();
  const room = (s: Sums): boolean => s.cell.points + s.added.length < refining.most;
  const take = ({ sums, width }: Choice): void => slopes.add(sums, add(sums, width));
  for (const missing of lines.flatMap((s) => missingAtEnd(s, block))) {
    const { sums } = missing;
    if (!room(sums)) continue;
    take(missing);
    why.set(cellName(sums.cell), `short end of ${sums.cell.serialNumber} at ${sums.cell.voltage} V: it is measured ${leastAtEnd} times at least`);
  }
  // First the replicates of all: they tell how windows scatter, and by that where lines end.
  const replicates = why.size > 0;
  // What one window more decides comes before what many bring nearer, and nothing else is added for its line.
  const lone = replicates ? [] : lines.flatMap(notOutvoted).filter(({ sums }) => room(sums));
  const doubts = replicates ? [] : doubtsOf(lines.filter((s) => !lone.some(({ sums }) => sums === s)), block.scatter, slopes, refining).filter(({ sums }) => room(sums));
  const rules = new Map([...doubts.map(({ sums }) => [sums, 'SCH-40'] as const), ...lone.map(({ sums }) => [sums, 'SCH-63'] as const)]);
  for (const asked of [...lone, ...doubts]) {
    const { cell } = asked.sums;
    take(asked);
    why.set(cellName(cell), rules.get(asked.sums) === 'SCH-63' ? loneWords(cell, asked.width) : doubtWords(cell, asked.width));
  }
  const rest = lines.filter((s) => !rules.has(s));
  const most = replicates ? 0 : (refining.atOnce ?? Math.max(fewForLines, Math.floor(partForLines * cells.reduce((sum, c) => sum + c.points, 0))));
  for (let added = 0; added < most; added += 1) {
    const best = bestFor(goalsOf(rest, slopes, refining, room), lines, refining, room);
    if (best === null) break;
    take(best.choice);
    const name = cellName(best.choice.sums.cell);
    if (!why.has(name)) why.set(name, wordsOf(best.choice, best.worst, refining.slopeWanted));
  }
  return lines.flatMap((s): readonly CellWish[] => (s.added.length === 0 ? [] : [{ cell: s.cell, widths: s.added, rule: replicates ? 'SCH-6' : (rules.get(s) ?? 'SCH-7'), why: why.get(cellName(s.cell)) ?? '' }]));
}

/** Windows that the short end of a line has not had yet. SCH-6 */
function missingAtEnd(sums: Sums, { known }: Block): readonly Choice[] {
  const ends = sums.line.widths.filter((w) => w.inRegion).slice(known.has(sums.cell.type) ? -knownEndWidths : -endWidths);
  return ends.flatMap(({ width }) => Array.from({ length: Math.max(0, leastAtEnd - (sums.cell.tried.get(width) ?? 0)) }, () => ({ sums, width })));
}

/** A width of a line is measured so often before its distance from the line is believed. */
const windowsOfDoubt = 6;

interface Choice {
  readonly sums: Sums;
  readonly width: Seconds;
}

/** Lines that are not there and that their widths miss by more than windows scatter, each with the width that tells whether by chance. SCH-40 */
function doubtsOf(lines: readonly Sums[], model: ScatterModel, slopes: Slopes, { weighs = false }: Refining): readonly Choice[] {
  return lines.flatMap((sums) => {
    const width = farOff(sums, model);
    return width !== null && farFrom(sums.cell.wanted, sums.lasting, randomOf(sums, slopes), weighs) > (weighs ? 0 : 1) ? [{ sums, width }] : [];
  });
}

/** Widths of a line of which half of the windows or more lie far off: which of them is wrong another one tells. SCH-63 */
const notOutvoted = (sums: Sums): readonly Choice[] =>
  sums.line.widths.flatMap(({ width }) => {
    const { light, counted, tried } = sums.cell;
    const off = light.get(width) ?? 0;
    return off > 0 && 2 * off >= (counted.get(width) ?? 0) && (tried.get(width) ?? 0) < windowsOfDoubt ? [{ sums, width }] : [];
  });

const loneWords = (cell: WantedCell, width: Seconds): string => `${cell.serialNumber} at ${cell.voltage} V, ${millisecondsText(width)}: a window lies far off, and the others of its width do not outvote it; a further one tells which is wrong`;

export const doubtWords = (cell: WantedCell, width: Seconds): string =>
  `${cell.serialNumber} at ${cell.voltage} V, ${millisecondsText(width)}: its widths scatter about the line by more than its windows do; whether by chance, a further window tells`;

/** Of a line that its widths miss by more than windows scatter (RED-13): the width that lies farthest off, of those that few windows tell; null: there is none. */
export function farOff({ cell, line }: Sums, model: ScatterModel): Seconds | null {
  if (!line.lackOfFit.significant) return null;
  let [farthest, most]: [Seconds | null, number] = [null, 0];
  for (const { width, windows, mass, inRegion, deviationPercent } of line.widths) {
    if (!inRegion || (cell.tried.get(width) ?? 0) >= windowsOfDoubt) continue;
    const off = (Math.abs(deviationPercent ?? 0) / 100) * mass * Math.sqrt(windows / varianceAt(model, mass));
    if (off > most) [farthest, most] = [width, off];
  }
  return farthest;
}

function wordsOf({ sums, width }: Choice, { sums: worst, of }: Pick<Goal, 'sums' | 'of'>, slopeWanted: number | null): string {
  const { line, cell } = worst;
  const need =
    of === 'slope'
      ? `slope of ${cell.serialNumber}: U95 ${((100 * line.slope.expanded) / line.slope.value).toFixed(2)} % now, ${(100 * (slopeWanted ?? 0)).toFixed(2)} % wanted`
      : `dead time of ${cell.serialNumber} at ${cell.voltage} V: U95 ${microsecondsText(line.deadTime.expanded)} now, ${microsecondsText(cell.wanted)} wanted`;
  const end = width === sums.line.region.from ? 'short end' : 'long end';
  return `${end} of ${sums.cell.serialNumber} at ${sums.cell.voltage} V; ${need}`;
}

/** The line of a cell, with the variances scaled as the reduction found them. */
export function sumsOf(cell: WantedCell, line: LineCell, model: ScatterModel): Sums {
  let precision = 0;
  for (const { windows, mass, inRegion } of line.widths) if (inRegion) precision += windows / varianceAt(model, mass);
  const height = 1 / line.scatter.uMean ** 2;
  const scale = precision / height;
  const varianceOf = (width: number): number => scale * varianceAt(model, line.slope.value * (width - line.deadTime.value));
  return { cell, line, height, centre: line.deadTime.value + line.scatter.distance, added: [], lasting: lasting(line), varianceOf };
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

/** The same, s; `next`: with one window more. */
function randomOf(s: Sums, slopes: Slopes, next?: Next): number {
  const { height, centre } = next?.sums === s ? next : s;
  return slopes.found(s).ofDeadTime * modelled(s, height, centre, 1 / slopes.varianceOf(s, next));
}

/** What is foreseen of the lines of an injector, whose slopes lean on each other as far as they are parallel (RED-23). SCH-42 */
interface Slopes {
  readonly add: (s: Sums, precision: number) => void;
  /** kg2/s2; `more`: with so much more precision of the slope of a line. */
  readonly varianceOf: (s: Sums, more?: Pick<Next, 'sums' | 'precision'>) => number;
  /** What was found of a line over what its sums and these say. */
  readonly found: (s: Sums) => { readonly ofDeadTime: number; readonly ofSlope: number };
}

/** How far lines of a type and voltage are from parallel, relative: of one injector, of all, and the precision that the windows of all have there. */
interface OfType {
  readonly own: number;
  readonly common: number;
  readonly precision: number;
}

const typeAt = ({ cell: { type, voltage } }: Sums): string => `${type}|${voltage}`;

function spreadsOf(all: readonly Sums[], { spread }: Block, model: ScatterModel): ReadonlyMap<string, OfType> {
  return new Map(grouped(all, typeAt).map((lines) => {
    const { own, common } = spread.get(lines[0].cell.type) ?? { own: 0, common: 0 };
    return [typeAt(lines[0]), { own, common, precision: lines.reduce((sum, s) => sum + ownPrecision(s, model) * s.line.slope.value ** 2, 0) }] as const;
  }));
}

function slopesOf(lines: readonly Sums[], model: ScatterModel, ofType: ReadonlyMap<string, OfType>): Slopes {
  const before = lines.map((s) => ownPrecision(s, model));
  const now = [...before];
  const ofTypes = lines.map((s) => ofType.get(typeAt(s)) ?? { own: 0, common: 0, precision: Number.POSITIVE_INFINITY });
  const slope = lines[0]?.line.slope.value ?? 1;
  // It is asked for every window that might be next and every result that it might bring nearer: by places, and nothing is made for it.
  const varianceOf: Slopes['varianceOf'] = (s, more) => {
    const at = lines.indexOf(s);
    const moreAt = more === undefined ? -1 : lines.indexOf(more.sums);
    const precision = more === undefined ? 0 : more.precision;
    const { own, common, precision: ofAll } = ofTypes[at] as OfType;
    const apart = (own * slope) ** 2;
    let weights = 0;
    for (let i = 0; i < now.length; i += 1) weights += 1 / (1 / ((now[i] as number) + (i === moreAt ? precision : 0)) + apart);
    const ownNow = (now[at] as number) + (at === moreAt ? precision : 0);
    const variance = 1 / ownNow;
    const part = apart / (apart + variance);
    // What all have in common at the voltage is known as well as the lines of all tell it.
    const ofMean = 1 / (ofAll + (ownNow - (before[at] as number)) * slope ** 2);
    const uCommon = common === 0 ? 0 : (common ** 2 * ofMean * slope ** 2) / (common ** 2 + ofMean);
    return part * variance + (1 - part) ** 2 * (1 / weights + uCommon);
  };
  const factors = new Map(lines.map((s) => {
    const variance = varianceOf(s);
    return [s, { ofSlope: s.line.slope.uRandom / Math.sqrt(variance), ofDeadTime: s.line.deadTime.uRandom / modelled(s, s.height, s.centre, 1 / variance) }] as const;
  }));
  return { varianceOf, add: (s, precision) => void (now[lines.indexOf(s)] = (now[lines.indexOf(s)] ?? 0) + precision), found: (s) => factors.get(s) ?? { ofDeadTime: 1, ofSlope: 1 } };
}

/** Precision of the slope of a line by its own windows, s2/kg2. */
function ownPrecision({ line, height, centre }: Sums, model: ScatterModel): number {
  let [weights, squares] = [0, 0];
  for (const { width, windows, mass, inRegion } of line.widths) {
    if (!inRegion) continue;
    const weight = windows / varianceAt(model, mass);
    weights += weight;
    squares += weight * (width - centre) ** 2;
  }
  return (squares * height) / weights;
}

/** How far a result is foreseen to be, in times of what it is brought to, or, where that only weighs, of what is wanted; 0: it is there, or as near as is sensible. */
function farFrom(wanted: number, of: Lasting, random: number, weighs: boolean): number {
  const foreseen = of.coverageFactor * Math.hypot(random, of.uShared);
  const aimed = aimOf(weighs ? 0 : wanted, leastOf(of));
  if (!weighs) return of.expanded > aimed ? foreseen / aimed : 0;
  return of.expanded > aimed && foreseen > aimed ? foreseen / wanted : 0;
}

/** The dead time of a line, and of its shared parts what further windows do not change: a call of the self-check that goes by the order of ordinary windows may be chance, and is asked anew with each of them. SCH-41 */
function lasting({ deadTime, shared }: LineCell): Lasting {
  let called = 0;
  for (const { source, onDeadTime } of shared) if (source.quantity === 'invariance' && source.place === 'direction') called += onDeadTime ** 2;
  return called === 0 ? deadTime : { ...deadTime, uShared: Math.sqrt(Math.max(0, deadTime.uShared ** 2 - called)) };
}

/** What is not there and can be brought nearer, the farthest first; only what is foreseen above the aim. */
function goalsOf(lines: readonly Sums[], slopes: Slopes, { slopeWanted, weighs = false }: Refining, room: (s: Sums) => boolean): readonly Goal[] {
  const goals: Goal[] = [];
  const goal = (sums: Sums, of: Goal['of'], wanted: number, result: Lasting, random: (next?: Next) => number): void => {
    const far = farFrom(wanted, result, random(), weighs);
    if (far > (weighs ? 0 : 1)) goals.push({ sums, of, far, farWith: (next) => farFrom(wanted, result, random(next), weighs) });
  };
  for (const sums of lines) {
    if (!room(sums)) continue;
    const { slope } = sums.line;
    if (slopeWanted !== null) goal(sums, 'slope', slopeWanted * slope.value, slope, (next) => slopes.found(sums).ofSlope * Math.sqrt(slopes.varianceOf(sums, next)));
    goal(sums, 'dead-time', sums.cell.wanted, sums.lasting, (next) => randomOf(sums, slopes, next));
  }
  return goals.sort((one, other) => other.far - one.far);
}

/** The window that takes the most off what all goals lack, as they are foreseen, in a second; what is taken off a goal beyond its aim counts for nothing (greedy cover: Wolsey 1982, from memory). Of goals that only weigh the farthest counts alone. */
function bestFor(goals: readonly Goal[], lines: readonly Sums[], { besides, minS, weighs = false }: Refining, room: (s: Sums) => boolean): { readonly choice: Choice; readonly worst: Goal } | null {
  const least = weighs ? 0 : 1;
  const counted = weighs ? goals.slice(0, 1) : goals;
  let best: { readonly choice: Choice; readonly worst: Goal } | null = null;
  let most = 0;
  for (const sums of lines) {
    if (!room(sums)) continue;
    for (const width of [sums.line.region.from, sums.line.region.to]) {
      const next = { ...withOne(sums, width), sums };
      const seconds = (sums.cell.seconds.get(width) ?? minS) + besides + (sums.added.length > 0 ? 0 : besides);
      let gain = 0;
      let worst: Goal | null = null;
      for (const goal of counted) {
        const taken = goal.far ** 2 - Math.max(least, goal.farWith(next) ** 2);
        if (!(taken > 0)) continue;
        gain += taken;
        worst ??= goal;
      }
      if (worst !== null && gain / seconds > most) [most, best] = [gain / seconds, { choice: { sums, width }, worst }];
    }
  }
  return best;
}
