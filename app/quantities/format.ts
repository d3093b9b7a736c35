/** Quantities as people read them. SI goes in, the unit that is shown comes out; nothing inside the house uses the text. */
import type { Quantity } from './quantity.ts';

interface Shown {
  /** The SI unit of the quantity that may be shown in this unit. */
  readonly of: string;
  /** Shown value = SI value * factor + offset. */
  readonly factor: number;
  readonly offset?: number;
}

const units = {
  V: { of: 'V', factor: 1 },
  mV: { of: 'V', factor: 1e3 },
  A: { of: 'A', factor: 1 },
  'Ω': { of: 'ohm', factor: 1 },
  kPa: { of: 'Pa', factor: 1e-3 },
  s: { of: 's', factor: 1 },
  ms: { of: 's', factor: 1e3 },
  'µs': { of: 's', factor: 1e6 },
  '°C': { of: 'K', factor: 1, offset: -273.15 },
  /** A difference of temperatures. */
  K: { of: 'K', factor: 1 },
  g: { of: 'kg', factor: 1e3 },
  mg: { of: 'kg', factor: 1e6 },
  'g/s': { of: 'kg/s', factor: 1e3 },
  'g/min': { of: 'kg/s', factor: 6e4 },
  /** The slope of mass over pulse width. */
  'mg/ms': { of: 'kg/s', factor: 1e3 },
  'kg/m³': { of: 'kg/m3', factor: 1 },
  mL: { of: 'm3', factor: 1e6 },
  L: { of: 'm3', factor: 1e3 },
  /** A ratio. */
  '%': { of: '1', factor: 100 },
} as const satisfies Record<string, Shown>;

/** The units in which quantities are shown. */
export type ShownUnit = keyof typeof units;

type InSi<U extends ShownUnit> = (typeof units)[U]['of'] extends '1' ? number : Quantity<(typeof units)[U]['of']>;

export interface FormatOptions<U extends ShownUnit> {
  /** Standard uncertainty in the SI unit of the value: the digits follow it. */
  readonly u?: InSi<U> | null;
  /** Digits after the point where there is no uncertainty; without both, four significant digits. */
  readonly decimals?: number;
  /** Shows `(value ± this) unit`: an expanded uncertainty, in the SI unit of the value. */
  readonly expanded?: InSi<U> | null;
  /** Why a value may be missing, for the text that stands in its place. */
  readonly missing?: string;
  /** BCP 47; decides the decimal sign and nothing else. Default `en`. */
  readonly locale?: string;
}

const noBreakSpace = '\u00a0';

/**
 * A quantity as text: `0.6861 ms`. The value is rounded to the digit at which its uncertainty, rounded to two
 * significant digits, ends (JCGM 100:2008, 7.2.6); the unit follows after a no-break space. What is missing or not
 * finite becomes a dash with the reason in brackets, never a number.
 */
export function formatQuantity<U extends ShownUnit>(value: InSi<U> | null, unit: U, options: FormatOptions<U> = {}): string {
  if (value === null || !Number.isFinite(value)) return `–${noBreakSpace}(${options.missing ?? 'not known'})`;
  const shown: Shown = units[unit];
  const converted = value * shown.factor + (shown.offset ?? 0);
  const expanded = usable(options.expanded);
  const u = usable(options.u) ?? expanded;
  const decimals = u === null ? (options.decimals ?? digitsFor(converted, 4)) : digitsFor(u * shown.factor, 2);
  const number = (n: number) => rounded(n, decimals, options.locale ?? 'en');
  if (expanded === null) return `${number(converted)}${noBreakSpace}${unit}`;
  const plusMinus = `${noBreakSpace}±${noBreakSpace}`;
  return `(${number(converted)}${plusMinus}${number(expanded * shown.factor)})${noBreakSpace}${unit}`;
}

function usable(u: number | null | undefined): number | null {
  return u !== null && u !== undefined && Number.isFinite(u) && u > 0 ? u : null;
}

/** Decimals (negative: places before the point) at which `value`, rounded to `significant` digits, ends. */
function digitsFor(value: number, significant: number): number {
  const exponent = Number(value.toExponential(significant - 1).split('e')[1]);
  return significant - 1 - exponent;
}

function rounded(value: number, decimals: number, locale: string): string {
  const step = 10 ** Math.max(0, -decimals);
  const whole = step === 1 ? value : Math.round(value / step) * step;
  return numberFormat(locale, Math.min(Math.max(0, decimals), 20)).format(whole);
}

/** Making one costs more than using it a hundred times. */
const formats = new Map<string, Intl.NumberFormat>();

function numberFormat(locale: string, decimals: number): Intl.NumberFormat {
  const key = `${locale} ${decimals}`;
  const known = formats.get(key);
  if (known !== undefined) return known;
  const made = new Intl.NumberFormat(locale, {
    minimumFractionDigits: decimals,
    maximumFractionDigits: decimals,
    useGrouping: false,
    signDisplay: 'negative',
    numberingSystem: 'latn',
  });
  formats.set(key, made);
  return made;
}
