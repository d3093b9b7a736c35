/** Axes of charts: limits that are round, ticks between them, and labels with as many digits as the steps need. */

import { minusShown as trueMinus } from '../../components/figures.ts';

export interface AxisScale {
  readonly from: number;
  readonly to: number;
  readonly ticks: readonly number[];
  readonly label: (tick: number) => string;
  /** Absent: even. */
  readonly kind?: 'log';
}

const steps = [1, 2, 2.5, 5, 10];

/** A scale of logarithms over all values above nought, from one round number to another; ticks at 1, 2 and 5 of each decade, or at the decades where they are many. */
export function logarithmicScale(values: Iterable<number>): AxisScale {
  const known = [...values].filter((v) => v > 0 && Number.isFinite(v));
  const [low, high] = known.length === 0 ? [0.1, 1] : [Math.min(...known), Math.max(...known)];
  const round: number[] = [];
  for (let power = Math.floor(Math.log10(low)); power <= Math.ceil(Math.log10(high)); power += 1) for (const digit of [1, 2, 5]) round.push(Number(`${digit}e${power}`));
  const from = round.findLast((v) => v <= low) ?? low;
  const to = round.find((v) => v >= high && v > from) ?? high;
  const inside = round.filter((v) => v >= from && v <= to);
  const decades = inside.filter((v) => /^1e/u.test(v.toExponential()));
  return { from, to, ticks: inside.length > 10 && decades.length > 2 ? decades : inside, label: (tick) => trueMinus(String(tick)), kind: 'log' };
}

/** A scale over all finite `values` with about `count` steps. Empty or equal values get a scale around them. */
export function scaleOver(values: Iterable<number>, count = 5): AxisScale {
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (const value of values) {
    if (!Number.isFinite(value)) continue;
    low = Math.min(low, value);
    high = Math.max(high, value);
  }
  if (low > high) [low, high] = [0, 1];
  // Less than rounding can tell apart is no range.
  if (high - low <= 1e-9 * Math.max(Math.abs(low), Math.abs(high))) {
    const around = low === 0 ? 1 : Math.abs(low) * 0.1;
    [low, high] = [low - around, high + around];
  }
  const wanted = (high - low) / count;
  const power = 10 ** Math.floor(Math.log10(wanted));
  const factor = steps.find((s) => s * power >= wanted * (1 - 1e-9)) ?? 10;
  const step = power * factor;
  const first = Math.floor(low / step + 1e-9);
  const last = Math.ceil(high / step - 1e-9);
  const decimals = Math.min(12, Math.max(0, Math.ceil(-Math.log10(step) + (factor === 2.5 ? 1 : 0) - 1e-9)));
  const ticks = Array.from({ length: last - first + 1 }, (_, i) => Number(((first + i) * step).toPrecision(12)));
  return { from: first * step, to: last * step, ticks, label: (tick) => trueMinus(tick.toFixed(decimals)) };
}

/** Of a letter of a label, at most; between two labels, at least; px. */
const letter = 7;
const apart = 8;

/** Every n-th label from the first on, so that none touches the next. `length`: of the axis, px. */
export function labelsThatFit<Tick>(ticks: readonly Tick[], textOf: (tick: Tick) => string, length: number): readonly Tick[] {
  const widest = letter * Math.max(0, ...ticks.map((tick) => textOf(tick).length)) + apart;
  const between = length / Math.max(1, ticks.length - 1);
  const step = Math.max(1, Math.ceil(widest / between - 1e-9));
  return ticks.filter((_, i) => i % step === 0);
}

/** The same axis: with the same limits and steps the labels are the same. */
export const isSameScale = (a: AxisScale, b: AxisScale): boolean => a.kind === b.kind && a.from === b.from && a.to === b.to && a.ticks.length === b.ticks.length && a.ticks.every((tick) => a.label(tick) === b.label(tick));
