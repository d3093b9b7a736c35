/** Figures as pages show them: those of `app/quantities/figures.ts` with the decimal sign that a person chose (WIN-95). What goes into a file takes those of `app/`. */
import * as figures from '../../app/quantities/figures.ts';
import { decimals } from './decimals.ts';

export const briefShown = (...of: Parameters<typeof figures.brief>): string => decimals(figures.brief(...of));
export const degreesShown = (...of: Parameters<typeof figures.degrees>): string => decimals(figures.degrees(...of));
export const figureShown = (...of: Parameters<typeof figures.figure>): string => decimals(figures.figure(...of));
export const percentShown = (...of: Parameters<typeof figures.percentFigure>): string => decimals(figures.percentFigure(...of));
export const plainShown = (...of: Parameters<typeof figures.plain>): string => decimals(figures.plain(...of));
export const plusMinusShown = (...of: Parameters<typeof figures.plusMinus>): string => decimals(figures.plusMinus(...of));
export const minusShown = (...of: Parameters<typeof figures.trueMinus>): string => decimals(figures.trueMinus(...of));
export const signShown = (...of: Parameters<typeof figures.withSign>): string => decimals(figures.withSign(...of));

/** A count with its digits in threes, by narrow blanks (ISO 80000-1): a point or comma there would be read as the decimal sign. */
export const inThrees = (count: number): string => String(count).replaceAll(/\B(?=(?:\d{3})+$)/g, '\u202f');
