/** A scale that can be read: round numbers, three of them at least (WIN-19). */

export interface StripScale {
  readonly bottom: number;
  readonly top: number;
  /** Upwards, from `bottom` to `top`: three to five. */
  readonly ticks: readonly number[];
  /** Digits after the point that the ticks need. */
  readonly decimals: number;
}

/** The scale over `low` to `high` (low < high) whose ends are ticks: a step of 1, 2 or 5 times a power of ten. */
export function scaleFor(low: number, high: number): StripScale {
  // A third of the span, rounded up to a round number, is 1/3 to 5/6 of it: two steps at least cover it, four at most.
  const third = (high - low) / 3;
  const power = 10 ** Math.floor(Math.log10(third));
  const step = power * ([1, 2, 5, 10].find((factor) => factor * power >= third * (1 - 1e-9)) ?? 10);
  const first = Math.floor(low / step + 1e-9);
  const last = Math.max(first + 2, Math.ceil(high / step - 1e-9));
  const decimals = Math.max(0, -Math.floor(Math.log10(step) + 1e-9));
  const ticks = Array.from({ length: last - first + 1 }, (_, index) => Number(((first + index) * step).toPrecision(12)));
  return { bottom: ticks[0] ?? low, top: ticks.at(-1) ?? high, ticks, decimals };
}
