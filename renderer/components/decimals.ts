/** The decimal sign that a person chose, in numbers that are shown (WIN-33). What is typed is read with either (WIN-1). */
import { settings } from '../settings/settings.ts';

/** A number by itself: not part of a name, a version, an address or a path. */
const alone = /(?<![\w.,:/-]|firmware )([-+−±]?\d+)\.(\d+)(?![\w:/-]|[.,]\d)/gu;

/** Texts and numbers of the program with the chosen sign. */
export function decimals(text: string): string {
  return settings().decimal === 'comma' ? text.replaceAll(alone, '$1,$2') : text;
}

/** As `decimals`, for what a cell shows: a text, a number, or anything else. */
export function cellShown<T>(cell: T): T | string {
  if (typeof cell === 'string') return decimals(cell);
  return typeof cell === 'number' && settings().decimal === 'comma' ? decimals(String(cell)) : cell;
}
