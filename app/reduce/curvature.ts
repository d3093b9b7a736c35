/**
 * Do lines bend over their whole length? Then the dead time depends on which widths make the line, and no test of one cell need notice: over
 * all cells of a type the bend is seen that each hides in its scatter. RED-85
 */
import type { Plan } from '../plan/plan.ts';
import { milliseconds, toKilopascals, toMilliseconds } from '../quantities/quantity.ts';
import { errorSource } from '../uncertainty/source.ts';
import { typeOfInjector } from './cell.ts';
import type { WidthMean } from './cell.ts';
import { grouped } from './cells.ts';
import type { FittedLine, OnInjector } from './effects.ts';
import type { Curvature } from './reduction.ts';
import { fitLine } from './regression.ts';

/** No region that is found has fewer widths than this (RED-11); three would tell a bend and leave nothing over. */
const fewestWidths = 4;
/** A region of the fewest widths was not found to be right, it is where the search ends: lines of so many are as good. RED-91 */
const asGood = 6;

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
    return leaningOnEachOther(told).map(({ members, relative, variance }): Curvature => {
      const widest = Math.max(asGood, ...members.map((f) => f.count));
      const [first] = members;
      const { pressure, period } = first.cell.at;
      return { type: typeOf(first), pressure, period, relative, u: Math.sqrt(variance), widest, definedFrom, shift: Math.abs(relative) * Math.max(...members.map((f) => Math.abs(reachOf(f, widest).onDeadTime))) };
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

/** Height at width 0 and slope of the line through the squares of the widths, as the line of the masses is weighted. */
function throughSquares(widths: readonly WidthMean[]): { readonly height: number; readonly slope: number } {
  const { meanX, meanY, slope } = fitLine(widths.map((w) => w.width), widths.map((w) => w.width ** 2), widths.map((w) => 1 / w.variance), 'known');
  return { height: meanY - slope * meanX, slope };
}

/** Of one cell, 1/s and 1/s^2; null: too few widths, or they do not tell. */
function bendOf({ widthMeans, count, line }: FittedLine): { readonly relative: number; readonly variance: number } | null {
  const region = widthMeans.slice(0, count);
  if (count < fewestWidths) return null;
  const straight = throughSquares(region);
  let product = 0;
  let squares = 0;
  for (const { width, mean, variance } of region) {
    const own = width ** 2 - straight.height - straight.slope * width;
    product += (own * mean) / variance;
    squares += (own * own) / variance;
  }
  return squares > 0 ? { relative: product / squares / line.slope, variance: 1 / squares / line.slope ** 2 } : null;
}

/**
 * How far the crossing moves, s, and the slope, relative, for a bend of 1 / s: of the lines that begin at another width the one that is
 * farthest off. `widest`: so many widths may make a line, as far as they were measured.
 */
function reachOf({ widthMeans, count, line }: FittedLine, widest: number): { readonly onDeadTime: number; readonly onSlope: number } {
  const lineOf = (widths: number): { readonly onDeadTime: number; readonly onSlope: number } => {
    const { height, slope } = throughSquares(widthMeans.slice(0, widths));
    return { onDeadTime: -(height + line.deadTime * slope), onSlope: slope };
  };
  const own = lineOf(count);
  let farthest = { onDeadTime: 0, onSlope: 0 };
  for (let widths = Math.min(count, fewestWidths); widths <= Math.min(widest, widthMeans.length); widths += 1) {
    const { onDeadTime, onSlope } = lineOf(widths);
    const off = { onDeadTime: onDeadTime - own.onDeadTime, onSlope: onSlope - own.onSlope };
    if (Math.abs(off.onDeadTime) > Math.abs(farthest.onDeadTime)) farthest = off;
  }
  return farthest;
}

/** The bend without what scatter gives on the average, 1 / s. With few cells a bend that hides in the scatter widens the line by chance, as much as it could be there. */
const beyondScatter = ({ relative, u }: Curvature): number => Math.sign(relative) * Math.sqrt(Math.max(0, relative * relative - u * u));

/** What it does to a line that any other admissible choice of widths would have been as good: rectangular. GUM D.3.4, RED-85 */
export function curvatureParts(fitted: FittedLine, curvatures: readonly Curvature[], plan: Pick<Plan, 'injectors'>): readonly OnInjector[] {
  const { at } = fitted.cell;
  const type = typeOfInjector(plan, at);
  const curvature = curvatures.find((c) => c.type === type && c.pressure === at.pressure && c.period === at.period);
  // Where the plan says which line is meant there is no choice.
  const bend = curvature === undefined || curvature.definedFrom !== null ? 0 : beyondScatter(curvature) / Math.sqrt(3);
  if (curvature === undefined || bend === 0) return [];
  const { onDeadTime, onSlope } = reachOf(fitted, curvature.widest);
  return [{ source: errorSource('line-definition', `${type} at ${Number(toKilopascals(at.pressure).toFixed(1))} kPa and ${Number(toMilliseconds(at.period).toFixed(3))} ms`), onDeadTime: bend * onDeadTime, onSlope: bend * onSlope * fitted.line.slope }];
}

/** So many standard uncertainties of a bend are more than chance. */
const beyondChance = 3;

export const isBent = ({ relative, u }: Pick<Curvature, 'relative' | 'u'>): boolean => Math.abs(relative) > beyondChance * u;

/** What it means and what to do, for each that is bent. */
export function curvatureSentences(curvatures: readonly Curvature[]): readonly string[] {
  return curvatures.filter(isBent).map(({ type, pressure, period, relative, u, shift, definedFrom }) => {
    // Over a width of 10 ms, against the flow of the line.
    const percent = (of: number): string => (100 * of * milliseconds(10)).toFixed(3);
    const apart = `dead times by up to ${(1e6 * shift).toFixed(1)} us`;
    const means =
      definedFrom === null
        ? `${apart}, which is in their uncertainty. Say with reduction.linearFromMs which line is meant, and they become more certain.`
        : `${apart}. The plan says which line is meant: that of widths from ${Number(toMilliseconds(definedFrom).toFixed(3))} ms on. Use the results for such widths.`;
    return `${type} at ${Number(toKilopascals(pressure).toFixed(1))} kPa and a period of ${Number(toMilliseconds(period).toFixed(3))} ms: mass bends over the whole line, by ${percent(relative)} ± ${percent(2 * u)} % of the flow at 10 ms (k = 2), so that dead time and slope depend on which widths make the line: ${means}`;
  });
}
