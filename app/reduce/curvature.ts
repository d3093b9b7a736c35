/**
 * Do lines bend over their whole length? Then the dead time depends on which widths make the line, and no test of one cell need notice: over
 * all cells of a type the bend is seen that each hides in its scatter, and a line in the middle of those that would be as good is stated. RED-85, RED-97
 */
import type { Plan } from '../plan/plan.ts';
import { milliseconds, toKilopascals, toMilliseconds } from '../quantities/quantity.ts';
import { brief, plusMinus } from '../quantities/figures.ts';
import { errorSource } from '../uncertainty/source.ts';
import { typeOfInjector } from './cell.ts';
import type { WidthMean } from './cell.ts';
import { grouped } from './cells.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import type { Curvature } from './reduction.ts';
import { lineFrom } from './line.ts';

/** No region that is found has fewer widths than this (RED-11); three would tell a bend and leave nothing over. */
const fewestWidths = 4;
/** A region of the fewest widths was not found to be right, it is where the search ends: lines of so many are as good. RED-91 */
const asGood = 6;
/** Lines bend by about so much, 1/s: 0.05 % of the flow at 10 ms (an estimate, no source). It stands for what few windows cannot tell. */
export const usualBend = 0.05;

/** One for each type, pressure and period: mass = slope (w - t0 + relative w^2), from the means of the widths in the regions. */
export function curvaturesOf(lines: readonly FittedLine[], plan: Pick<Plan, 'injectors' | 'reduction'>): readonly Curvature[] {
  const typeOf = ({ cell }: FittedLine): string => typeOfInjector(plan, cell.at);
  const { linearFromMs } = plan.reduction;
  const definedFrom = linearFromMs === undefined ? null : milliseconds(linearFromMs);
  return grouped(lines, (f) => `${typeOf(f)}|${f.cell.at.period}`).flatMap((ofType) => {
    const told = grouped(ofType, (f) => String(f.cell.at.pressure)).flatMap((members) => {
      const bends = members.flatMap((f) => bendOf(f) ?? []);
      if (bends.length === 0) return [];
      const weights = bends.reduce((sum, b) => sum + 1 / b.variance, 0);
      const relative = bends.reduce((sum, b) => sum + b.relative / b.variance, 0) / weights;
      const squares = bends.reduce((sum, b) => sum + (b.relative - relative) ** 2 / b.variance, 0);
      // Injectors whose bends differ say less of what they have in common.
      const scale = bends.length > 1 ? Math.max(1, squares / (bends.length - 1)) : 1;
      return [{ members, relative, variance: scale / weights }];
    });
    const squares = squaresOf(ofType);
    return leaningOnEachOther(told).map(({ members, relative, variance }): Curvature => {
      const widest = Math.max(asGood, ...members.map((f) => f.count));
      const reach = (f: FittedLine): number => {
        const { lowest, highest } = choicesOf(f, widest, squares.get(f) ?? nought);
        return highest.onDeadTime - lowest.onDeadTime;
      };
      const [first] = members;
      const { pressure, period } = first.cell.at;
      return { type: typeOf(first), pressure, period, relative, u: Math.sqrt(variance), widest, definedFrom, shift: Math.abs(relative) * Math.max(...members.map(reach)) };
    });
  });
}

/**
 * What bends a line at one pressure bends it at others too, as far as they agree: each leans on the mean of all by the variance beyond their own (DerSimonian and Laird 1986,
 * from memory), wholly where they differ by no more than scatter gives, and not at all where they contradict each other. RED-94
 */
function leaningOnEachOther<T extends { readonly relative: number; readonly variance: number }>(told: readonly T[]): readonly T[] {
  const sums = (more: number): { readonly weights: number; readonly mean: number } => {
    let weights = 0;
    let mean = 0;
    for (const { relative, variance } of told) {
      weights += 1 / (variance + more);
      mean += relative / (variance + more);
    }
    return { weights, mean: mean / weights };
  };
  const { weights, mean } = sums(0);
  const squares = told.reduce((sum, t) => sum + (t.relative - mean) ** 2 / t.variance, 0);
  const between = told.length < 2 ? 0 : Math.max(0, squares - (told.length - 1)) / (weights - told.reduce((sum, t) => sum + 1 / t.variance ** 2, 0) / weights);
  const common = sums(between);
  return told.map((t) => {
    const own = between / (between + t.variance);
    return { ...t, relative: own * t.relative + (1 - own) * common.mean, variance: own * t.variance + (1 - own) ** 2 / common.weights };
  });
}

/** A line through squares of widths, as a line of masses is weighted: its height `mean` at the width `middle`, and slope. */
interface ThroughSquares {
  readonly middle: number;
  readonly mean: number;
  readonly slope: number;
}

/** Lines through the longest two, three ... `most` widths, from sums about the longest. */
function* throughLongest(widthMeans: readonly WidthMean[], most: number): Generator<ThroughSquares & { readonly widths: number }> {
  const from = widthMeans[0]?.width ?? 0;
  let [s0, s1, s2, s3] = [0, 0, 0, 0];
  for (let i = 0; i < Math.min(most, widthMeans.length); i += 1) {
    const { width = 0, variance = 1 } = widthMeans[i] ?? {};
    const x = width - from;
    s0 += 1 / variance;
    s1 += x / variance;
    s2 += (x * x) / variance;
    s3 += (x * x * x) / variance;
    if (i === 0) continue;
    const mean = s1 / s0;
    // Of the squares about the longest width; (from + x)^2 has 2 from x more.
    const slope = (s3 - mean * s2) / (s2 - mean * s1);
    yield { widths: i + 1, middle: from + mean, mean: s2 / s0 + from * (from + 2 * mean), slope: slope + 2 * from };
  }
}

function throughSquares(widths: readonly WidthMean[]): ThroughSquares {
  let last: ThroughSquares = { middle: 0, mean: 0, slope: 0 };
  for (const line of throughLongest(widths, widths.length)) last = line;
  return last;
}

/** Of one cell, 1/s and 1/s^2; null: too few widths, or they do not tell. */
function bendOf({ widthMeans, count, line }: FittedLine): { readonly relative: number; readonly variance: number } | null {
  const region = widthMeans.slice(0, count);
  if (count < fewestWidths) return null;
  const straight = throughSquares(region);
  let product = 0;
  let squares = 0;
  for (const { width, mean, variance } of region) {
    const own = width ** 2 - straight.mean - straight.slope * (width - straight.middle);
    product += (own * mean) / variance;
    squares += (own * own) / variance;
  }
  return squares > 0 ? { relative: product / squares / line.slope, variance: 1 / squares / line.slope ** 2 } : null;
}

/** A line through squares of widths: height at the dead time and slope; with a bend of 1 / s it moves by minus the first, s, and by the second, relative. */
interface OfSquares {
  readonly onDeadTime: number;
  readonly onSlope: number;
}

const nought: OfSquares = { onDeadTime: 0, onSlope: 0 };

/** As slopes lean on those of other voltages (RED-23): what would be the change of each by itself, for lines of one injector, pressure and period. */
function leaning(members: readonly FittedLine[], changes: readonly number[]): readonly number[] {
  const common = members.reduce((sum, { line: { slopeFrom } }, i) => sum + (slopeFrom.from === 'own' ? 0 : slopeFrom.weight * (changes[i] ?? 0)), 0);
  return members.map(({ line: { slopeFrom } }, i) => (slopeFrom.from === 'own' ? (changes[i] ?? 0) : slopeFrom.own * (changes[i] ?? 0) + (1 - slopeFrom.own) * common));
}

const ofOneSlope = (lines: readonly FittedLine[]): ReturnType<typeof grouped<FittedLine>> => grouped(lines, ({ cell: { at } }) => `${at.injector}|${at.pressure}|${at.period}`);

/** What the squares give where the masses gave the line. By line. */
function squaresOf(lines: readonly FittedLine[]): ReadonlyMap<FittedLine, OfSquares> {
  const found = new Map<FittedLine, OfSquares>();
  for (const members of ofOneSlope(lines)) {
    const through = members.map((f) => throughSquares(f.widthMeans.slice(0, f.count)));
    const slopes = leaning(members, through.map((t) => t.slope));
    members.forEach((f, i) => {
      const { middle, mean } = through[i] ?? { middle: 0, mean: 0 };
      const slope = slopes[i] ?? 0;
      found.set(f, { onDeadTime: -(mean + slope * (f.line.deadTime - middle)), onSlope: slope });
    });
  }
  return found;
}

/** What lines through other widths give more than the one that was fitted, for a bend of 1 / s: from the one that crosses earliest to the one that crosses latest. */
interface Choices {
  readonly lowest: OfSquares;
  readonly highest: OfSquares;
}

/** `widest`: so many widths may make a line, as far as they were measured. */
function choicesOf({ widthMeans, count, line }: FittedLine, widest: number, fitted: OfSquares): Choices {
  let lowest = nought;
  let highest = nought;
  for (const { widths, middle, mean, slope } of throughLongest(widthMeans, widest)) {
    if (widths < Math.min(count, fewestWidths)) continue;
    const off = { onDeadTime: -(mean + slope * (line.deadTime - middle)) - fitted.onDeadTime, onSlope: slope - fitted.onSlope };
    if (off.onDeadTime < lowest.onDeadTime) lowest = off;
    if (off.onDeadTime > highest.onDeadTime) highest = off;
  }
  return { lowest, highest };
}

/** Chance, before the windows are looked at, that lines of a type are straight. As RED-86 has it of short pulses. */
export const straightBefore = 0.5;

/**
 * What is believed of a bend: either lines are straight, or they bend by as much as usual, or by as much as these do beyond scatter, which is taken from what was found
 * as far as that is known worse. The mean over both, by how well each explains what was found, with what they differ by. RED-172
 */
function believed({ relative, u }: Pick<Curvature, 'relative' | 'u'>): { readonly relative: number; readonly variance: number } {
  const usual = Math.max(usualBend ** 2, relative * relative - u * u);
  const share = usual / (usual + u * u);
  // Of the likelihoods of what was found, with a bend over without.
  const ratio = u > 0 ? Math.sqrt(1 - share) * Math.exp((share * relative * relative) / (2 * u * u)) : Number.POSITIVE_INFINITY;
  const bent = 1 / (1 + straightBefore / (1 - straightBefore) / ratio);
  return { relative: bent * share * relative, variance: bent * share * u * u + bent * (1 - bent) * (share * relative) ** 2 };
}

/** A line in the middle of those that would have been as good, and what nobody knows of it. */
export interface Middle {
  readonly fitted: FittedLine;
  readonly part: OnInjector;
  /** What the bend makes of the mass of a width, s, beside that line, kg. */
  readonly ofBend: (width: number) => number;
}

/** From the earliest crossing to the latest, and the slopes that go with them. */
interface Span {
  readonly earliest: number;
  readonly latest: number;
  readonly flattest: number;
  readonly steepest: number;
}

/**
 * Where nothing is known of the rail's pressure a flow that grows over the pulse may be the rail's: it lies lower while an injector is open, the less the longer that is of the period,
 * and not at all held open. Then the line of a steady pressure is meant, which crosses where the bend begins and is as steep as the bend would be held open. RED-151
 */
function withSteadyPressure({ earliest, latest, flattest, steepest }: Span, { line: { deadTime }, cell: { at } }: FittedLine, fitted: OfSquares): Span {
  return { earliest: Math.min(earliest, -(deadTime * deadTime) - fitted.onDeadTime), latest, flattest, steepest: Math.max(steepest, 2 * deadTime + at.period - fitted.onSlope) };
}

/**
 * All lines from the earliest crossing to the latest are as good: the one in the middle is stated, and how far they lie from it is a rectangular part
 * (GUM 4.3.8, F.2.4.5, D.3.4), beside how well the bend is known. null: there is no choice, or the plan made it. By line; RED-85, RED-97
 */
export function middlesOf(lines: readonly FittedLine[], curvatures: readonly Curvature[], plan: Pick<Plan, 'injectors'>, railMayDip: boolean): ReadonlyMap<FittedLine, Middle> {
  const squares = squaresOf(lines);
  const found = new Map<FittedLine, Middle>();
  for (const members of ofOneSlope(lines)) {
    const { at } = members[0].cell;
    const type = typeOfInjector(plan, at);
    const curvature = curvatures.find((c) => c.type === type && c.pressure === at.pressure && c.period === at.period);
    if (curvature?.definedFrom !== null) continue;
    const { relative, variance } = believed(curvature);
    const source = errorSource('line-definition', `${type} at ${Number(toKilopascals(at.pressure).toFixed(1))} kPa and ${Number(toMilliseconds(at.period).toFixed(3))} ms`);
    const spans = members.map((f): Span => {
      const fitted = squares.get(f) ?? nought;
      const { lowest, highest } = choicesOf(f, curvature.widest, fitted);
      const span = { earliest: lowest.onDeadTime, latest: highest.onDeadTime, flattest: lowest.onSlope, steepest: highest.onSlope };
      return railMayDip && relative > 0 ? withSteadyPressure(span, f, fitted) : span;
    });
    const flattest = leaning(members, spans.map((s) => s.flattest));
    const steepest = leaning(members, spans.map((s) => s.steepest));
    members.forEach((f, i) => {
      const [{ line }, own, span] = [f, squares.get(f), spans[i]];
      if (own === undefined || span === undefined || span.earliest === span.latest) return;
      const onDeadTime = middleOf(span.earliest, span.latest);
      const onSlope = middleOf(flattest[i] ?? 0, steepest[i] ?? 0);
      const slope = line.slope * (1 + relative * onSlope.middle);
      const deadTime = line.deadTime + relative * onDeadTime.middle;
      const fit = { ...line.fit, slope, meanY: slope * (line.fit.meanX - deadTime) };
      // Anywhere between the outer lines, with a bend that is known so well.
      const unsure = ({ middle, half }: typeof onSlope): number => Math.sign(half) * Math.sqrt(((relative * relative + variance) * half * half) / 3 + variance * middle * middle);
      found.set(f, {
        fitted: { ...f, line: lineFrom(fit, line.dof, line.lackOfFit, line.slopeFrom) },
        part: { source, onDeadTime: unsure(onDeadTime), onSlope: unsure(onSlope) * line.slope },
        ofBend: (width) => line.slope * relative * (width * width + own.onDeadTime + onDeadTime.middle - (own.onSlope + onSlope.middle) * (width - line.deadTime)),
      });
    });
  }
  return found;
}

const middleOf = (low: number, high: number): { readonly middle: number; readonly half: number } => ({ middle: (low + high) / 2, half: (high - low) / 2 });

/** So many standard uncertainties of a bend are more than chance; beyond so many it is said that there may be one. RED-85, RED-152 */
const beyondChance = 3;
const hardlyChance = 2;

type Known = Pick<Curvature, 'relative' | 'u'>;

export const isBent = ({ relative, u }: Known): boolean => Math.abs(relative) > beyondChance * u;

/** Chance alone gives this in one of twenty runs: what depends on the widths that make the line is not to be relied upon without a word. RED-152 */
export const mayBend = ({ relative, u }: Known): boolean => Math.abs(relative) > hardlyChance * u;

/** What it means and what to do, for each that is bent or may be. */
export function curvatureSentences(curvatures: readonly Curvature[]): readonly string[] {
  return curvatures.filter(mayBend).map((curvature) => {
    const { type, pressure, period, relative, u, shift, definedFrom } = curvature;
    // Over a width of 10 ms, against the flow of the line.
    const percent = (of: number): number => 100 * of * milliseconds(10);
    const apart = shift === 0 ? '' : `dead times by up to ${brief(1e6 * shift)} us. `;
    const means = definedFrom !== null
      ? `${apart}The plan says which line is meant: that of widths from ${Number(toMilliseconds(definedFrom).toFixed(3))} ms on. Use the results for such widths.`
      : shift === 0
        ? 'the widths that were measured make one line alone, so what another would come to is not told, and is in no uncertainty. Measure more widths.'
        : `${apart}The line in the middle is stated, and how far others lie from it is in the uncertainty. Say with reduction.linearFromMs which line is meant, and they become more certain.`;
    return `${type} at ${Number(toKilopascals(pressure).toFixed(1))} kPa and a period of ${Number(toMilliseconds(period).toFixed(3))} ms: mass ${isBent(curvature) ? 'bends' : 'may bend'} over the whole line, by ${plusMinus(percent(relative), percent(2 * u))} % of the flow at 10 ms (k = 2${isBent(curvature) ? '' : '; chance alone gives as much in one run of twenty'}), so that dead time and slope depend on which widths make the line: ${means}`;
  });
}
