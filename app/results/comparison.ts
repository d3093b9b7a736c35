/**
 * Two runs side by side: the difference of dead time and slope for each injector, voltage, pressure and period that both
 * have, with its uncertainty. Random parts are independent; an error that both runs share is one error and mostly cancels, and which
 * those are says RED-65. RED-69.
 */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { Reduction } from '../reduce/reduction.ts';
import { combine, stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { carriedIn, sharedBetween } from './across-runs.ts';
import type { RunOfErrors } from './across-runs.ts';
import { conditionKey } from './run-results.ts';

export interface Difference {
  readonly first: number;
  readonly second: number;
  /** Second less first. */
  readonly value: number;
  readonly u95: number;
  readonly significant: boolean;
}

export interface ComparedRow {
  readonly key: string;
  readonly serialNumber: string;
  readonly voltage: number;
  readonly pressure: number;
  readonly period: number;
  readonly deadTime: Difference;
  readonly slope: Difference;
}

export interface RunComparison {
  readonly rows: readonly ComparedRow[];
  /** What could not be compared and why, each a sentence. */
  readonly left: readonly string[];
  /** What of the instruments both runs share, a sentence. */
  readonly instruments: string;
}

type Of = 'deadTime' | 'slope';

export type ComparedRun = RunOfErrors & { readonly reduction: Pick<Reduction, 'cells'> };

export function compareRuns(first: ComparedRun, second: ComparedRun): RunComparison {
  const keyOf = (cell: { serialNumber: string; voltage: number; pressure: number; period: number }): string =>
    `${cell.serialNumber}|${cell.voltage}|${conditionKey(cell)}`;
  const difference = (a: Carried, b: Carried): Difference => differenceOf(carriedIn(first, a), carriedIn(second, b));
  const others = new Map(second.reduction.cells.map((cell) => [keyOf(cell), cell]));
  const rows: ComparedRow[] = [];
  let onlyFirst = 0;
  let withoutLine = 0;
  for (const cell of first.reduction.cells) {
    const key = keyOf(cell);
    const other = others.get(key);
    others.delete(key);
    if (other === undefined) onlyFirst += 1;
    else if (cell.kind === 'no-line' || other.kind === 'no-line') withoutLine += 1;
    else {
      const { serialNumber, voltage, pressure, period } = cell;
      rows.push({ key, serialNumber, voltage, pressure, period, deadTime: difference(deadTimeCarried(cell), deadTimeCarried(other)), slope: difference(slopeCarried(cell), slopeCarried(other)) });
    }
  }
  const left = [
    sentenceOf(onlyFirst, 'is only in the plan of the first run', 'are only in the plan of the first run'),
    sentenceOf(others.size, 'is only in the plan of the second run', 'are only in the plan of the second run'),
    sentenceOf(withoutLine, 'has no line in one of the runs', 'have no line in one of the runs'),
  ].filter((text) => text !== '');
  if (rows.length === 0) left.push('An injector is compared with itself: its serial number, voltage, pressure and period must be the same in both runs.');
  return { rows, left, instruments: instrumentsSentence(sharedBetween(first, second)) };
}

function sentenceOf(count: number, one: string, many: string): string {
  return count === 0 ? '' : `${count} ${count === 1 ? `place (injector, voltage, pressure and period) ${one}` : `places (injector, voltage, pressure and period) ${many}`}.`;
}

function differenceOf(a: Carried, b: Carried): Difference {
  const { value, expanded } = stateCarried(combine(b.value - a.value, [{ of: b, sensitivity: 1 }, { of: a, sensitivity: -1 }]));
  return { first: a.value, second: b.value, value, u95: expanded, significant: Math.abs(value) > expanded };
}

function instrumentsSentence({ same, other }: ReturnType<typeof sharedBetween>): string {
  return [
    same.length === 0 ? '' : `The same in both runs, so that their errors mostly cancel: ${same.join(', ')}.`,
    other.length === 0 ? '' : `Different, or under another certificate, so that their uncertainties count in full: ${other.join(', ')}.`,
  ]
    .filter((text) => text !== '')
    .join(' ');
}

/** Difference over its expanded uncertainty (ISO/IEC 17043), what both runs share taken out. CMP-11 */
export const enOf = ({ value, u95 }: Difference): number => (value === 0 ? 0 : value / u95);

/** How many of the differences are significant, and how many chance alone would give. */
export function comparisonSentence(rows: readonly ComparedRow[], of: Of): string {
  const name = of === 'deadTime' ? 'dead time' : 'slope';
  const count = rows.filter((row) => row[of].significant).length;
  const byChance = 0.05 * rows.length;
  if (rows.length === 0) return '';
  const chance = byChance < 0.95 ? 'chance alone gives less than one' : `chance alone gives about ${byChance.toFixed(0)}`;
  if (count === 0) return `No ${name} differs by more than the uncertainty of the difference.`;
  const verdict = count > 2 * Math.max(1, byChance) ? 'The runs differ.' : 'That is not enough to say that the runs differ.';
  return `${count} of ${rows.length} differences of ${name} ${count === 1 ? 'is' : 'are'} larger than ${count === 1 ? 'its' : 'their'} uncertainty; ${chance}. ${verdict}`;
}

export function significanceWords({ value, significant }: Difference, more: string, less: string): string {
  if (!significant) return 'no difference shown';
  return value > 0 ? more : less;
}
