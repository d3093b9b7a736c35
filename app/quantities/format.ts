/** Quantities as people read them. SI goes in, the unit that is shown comes out; nothing inside the house uses the text. */
import { figure, plusMinus } from './figures.ts';
import type { Quantity } from './quantity.ts';

interface Shown {
  /** The SI unit of the quantity that may be shown in this unit. */
  readonly of: string;
  /** Shown value = SI value * factor. */
  readonly factor: number;
}

const units = {
  ms: { of: 's', factor: 1e3 },
  mg: { of: 'kg', factor: 1e6 },
  'g/s': { of: 'kg/s', factor: 1e3 },
  /** The slope of mass over pulse width. */
  'mg/ms': { of: 'kg/s', factor: 1e3 },
} as const satisfies Record<string, Shown>;

/** The units in which quantities are shown with their unit. */
export type ShownUnit = keyof typeof units;

type InSi<U extends ShownUnit> = Quantity<(typeof units)[U]['of']>;

const noBreakSpace = '\u00a0';

/** `0.6861 ms`: to the digit at which its standard uncertainty ends, as every figure here. */
export function formatQuantity<U extends ShownUnit>(value: InSi<U>, unit: U, u: InSi<U>): string {
  const { factor } = units[unit];
  return `${figure(value * factor, u * factor)}${noBreakSpace}${unit}`;
}

/** `(0.6861 ± 0.0042) ms`, with an expanded uncertainty. */
export function formatExpanded<U extends ShownUnit>(value: InSi<U>, unit: U, expanded: InSi<U>): string {
  const { factor } = units[unit];
  const text = plusMinus(value * factor, expanded * factor);
  return `${text.includes('±') ? `(${text.replaceAll(' ', noBreakSpace)})` : text}${noBreakSpace}${unit}`;
}
