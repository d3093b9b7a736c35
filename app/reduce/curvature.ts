/**
 * Do lines bend over their whole length? Then the dead time depends on which widths make the line, and no test of one cell need notice: over
 * all cells of a type the bend is seen that each hides in its scatter. RED-85
 */
import type { Plan } from '../plan/plan.ts';
import { milliseconds, toKilopascals, toMilliseconds } from '../quantities/quantity.ts';
import { grouped } from './cells.ts';
import type { FittedLine } from './effects.ts';
import type { Curvature } from './reduction.ts';

/** A line of fewer widths is no other line when one of them is left out. */
const fewestWidths = 4;

/** One for each type, pressure and period: mass = slope (w - t0 + relative w^2), from the means of the widths in the regions. */
export function curvaturesOf(lines: readonly FittedLine[], plan: Pick<Plan, 'injectors'>): readonly Curvature[] {
  const typeOf = ({ cell }: FittedLine): string => plan.injectors[cell.at.injector]?.type ?? '';
  return grouped(lines, (f) => `${typeOf(f)}|${f.cell.at.pressure}|${f.cell.at.period}`).flatMap((members): Curvature[] => {
    const [first] = members;
    const bends = members.flatMap((f) => bendOf(f) ?? []);
    if (first === undefined || bends.length === 0) return [];
    const weights = bends.reduce((sum, b) => sum + 1 / b.variance, 0);
    const relative = bends.reduce((sum, b) => sum + b.relative / b.variance, 0) / weights;
    const squares = bends.reduce((sum, b) => sum + (b.relative - relative) ** 2 / b.variance, 0);
    // Injectors whose bends differ say less of what they have in common.
    const scale = bends.length > 1 ? Math.max(1, squares / (bends.length - 1)) : 1;
    const widest = Math.max(...members.map((f) => f.count));
    const { pressure, period } = first.cell.at;
    return [{ type: typeOf(first), pressure, period, relative, u: Math.sqrt(scale / weights), shift: Math.abs(relative) * Math.max(...members.map((f) => reachOf(f, widest))) }];
  });
}

/** Weighted line through `y` at the widths: its height at width 0 and its slope. */
function through(widths: readonly { readonly width: number; readonly variance: number }[], y: (width: number) => number): { readonly height: number; readonly slope: number } {
  let sum = 0;
  let meanWidth = 0;
  let meanY = 0;
  for (const { width, variance } of widths) {
    sum += 1 / variance;
    meanWidth += width / variance;
    meanY += y(width) / variance;
  }
  meanWidth /= sum;
  meanY /= sum;
  let sxx = 0;
  let sxy = 0;
  for (const { width, variance } of widths) {
    sxx += (width - meanWidth) ** 2 / variance;
    sxy += ((width - meanWidth) * (y(width) - meanY)) / variance;
  }
  return { height: meanY - (sxy / sxx) * meanWidth, slope: sxy / sxx };
}

const square = (width: number): number => width * width;

/** Of one cell, 1/s and 1/s^2; null: too few widths, or they do not tell. */
function bendOf({ widthMeans, count, line }: FittedLine): { readonly relative: number; readonly variance: number } | null {
  const region = widthMeans.slice(0, count);
  if (count <= fewestWidths) return null;
  const straight = through(region, square);
  let product = 0;
  let squares = 0;
  for (const { width, mean, variance } of region) {
    const own = square(width) - straight.height - straight.slope * width;
    product += (own * mean) / variance;
    squares += (own * own) / variance;
  }
  return squares > 0 ? { relative: product / squares / line.slope, variance: 1 / squares / line.slope ** 2 } : null;
}

/** How far the crossing moves for a bend of 1/s, s: the largest over the lines that begin at another width. `widest`: widths of the longest region of its kind. */
function reachOf({ widthMeans, count, line }: FittedLine, widest: number): number {
  const crossing = (widths: number): number => {
    const { height, slope } = through(widthMeans.slice(0, widths), square);
    return -(height + line.deadTime * slope);
  };
  const own = crossing(count);
  let reach = 0;
  for (let widths = fewestWidths; widths <= Math.min(widest, widthMeans.length); widths += 1) reach = Math.max(reach, Math.abs(crossing(widths) - own));
  return reach;
}

/** So many standard uncertainties of a bend are more than chance. */
const beyondChance = 3;

export const isBent = ({ relative, u }: Pick<Curvature, 'relative' | 'u'>): boolean => Math.abs(relative) > beyondChance * u;

/** What it means and what to do, for each that is bent. */
export function curvatureSentences(curvatures: readonly Curvature[]): readonly string[] {
  return curvatures.filter(isBent).map(({ type, pressure, period, relative, u, shift }) => {
    // Over a width of 10 ms, against the flow of the line.
    const percent = (of: number): string => (100 * of * milliseconds(10)).toFixed(3);
    return `${type} at ${Number(toKilopascals(pressure).toFixed(1))} kPa and a period of ${Number(toMilliseconds(period).toFixed(3))} ms: mass bends over the whole line, by ${percent(relative)} ± ${percent(2 * u)} % of the flow at 10 ms (k = 2), so that dead time and slope depend on which widths make the line: dead times by up to ${(1e6 * shift).toFixed(1)} us, which is in no uncertainty here. Say with reduction.linearFromMs which line is meant, and use the results for widths as long as those.`;
  });
}
