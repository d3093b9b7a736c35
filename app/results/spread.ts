/** How the injectors of a set differ, at one voltage: in mass at a width, in dead time, in slope. SI units. RED-67. */
import { deadTimeCarried, slopeCarried, widthMassCarried } from '../reduce/carried-line.ts';
import type { LineCell, NoLineCell } from '../reduce/reduction.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { estimateOf } from './estimate.ts';
import type { Estimate } from './estimate.ts';
import { deviationsFromMean, meanOf } from '../uncertainty/set.ts';

export type SpreadOf = { readonly kind: 'mass'; readonly width: number } | { readonly kind: 'dead-time' } | { readonly kind: 'slope' };

interface SpreadRow {
  readonly injector: number;
  readonly serialNumber: string;
  /** With all parts; null: `why` says why not. */
  readonly of: Estimate | null;
  readonly why: string;
  /** From the mean of the injectors that have a value, in the unit of the value; null: there is no value. */
  readonly deviation: Estimate | null;
}

export interface SetSpread {
  readonly rows: readonly SpreadRow[];
  /** Of the injectors that have a value; null: none has. */
  readonly mean: Estimate | null;
  readonly members: number;
  /** Largest less smallest; null: no injector has a value. */
  readonly range: number | null;
  readonly lowest: SpreadRow | null;
  readonly highest: SpreadRow | null;
}

/** `cells` are those of one voltage, pressure and period. */
export function spreadOverSet(cells: readonly (LineCell | NoLineCell)[], of: SpreadOf): SetSpread {
  const found = cells.map((cell) => ({ cell, value: valueOf(cell, of) }));
  const present = found.flatMap(({ cell, value }) => (typeof value === 'string' ? [] : [{ injector: cell.injector, value }]));
  const members = present.map((p) => p.value);
  const deviations = new Map(deviationsFromMean(members).map((deviation, i) => [present[i]?.injector, deviation]));
  const rows = found.map(({ cell: { injector, serialNumber }, value }): SpreadRow => {
    if (typeof value === 'string') return { injector, serialNumber, of: null, why: value, deviation: null };
    const deviation = deviations.get(injector);
    return { injector, serialNumber, of: estimateOf(value), why: '', deviation: deviation === undefined ? null : estimateOf(deviation) };
  });
  if (members.length === 0) return { rows, mean: null, members: 0, range: null, lowest: null, highest: null };
  const values = members.map((m) => m.value);
  const [low, high] = [Math.min(...values), Math.max(...values)];
  const at = (value: number): SpreadRow | null => rows.find((r) => r.of?.value === value) ?? null;
  return { rows, mean: estimateOf(meanOf(members)), members: members.length, range: high - low, lowest: at(low), highest: at(high) };
}

/** The value, or why there is none. */
function valueOf(cell: LineCell | NoLineCell, of: SpreadOf): Carried | string {
  if (cell.kind === 'no-line') return cell.text;
  switch (of.kind) {
    case 'dead-time':
      return deadTimeCarried(cell);
    case 'slope':
      return slopeCarried(cell);
    case 'mass': {
      const at = cell.widths.find((w) => w.width === of.width);
      return at === undefined ? 'No attempt counts at this width.' : widthMassCarried(cell, at);
    }
  }
}

/** In words what the spread is and whether the outermost injector stands out by more than its uncertainty. */
export function spreadSentence({ rows, members }: SetSpread): string {
  if (members < 2) return 'With fewer than two injectors that have a value there is no spread.';
  const told = rows.filter(({ deviation }) => deviation !== null && deviation.u95 !== null && Math.abs(deviation.value) > deviation.u95).length;
  const missing = rows.length - members;
  return [
    missing === 0 ? `The mean is of all ${members} injectors.` : `The mean is of the ${members} injectors that have a value; ${missing} ${missing === 1 ? 'has' : 'have'} none.`,
    told === 0
      ? 'No injector differs from it by more than the uncertainty of the difference.'
      : `${told} of ${members} differ from it by more than the uncertainty of the difference.`,
  ].join(' ');
}
