/** The budget of a line's results: what each error brings to dead time or slope. */
import { degrees } from '../quantities/figures.ts';
import type { LineCell } from '../reduce/reduction.ts';
import type { Result } from '../uncertainty/budget.ts';
import { labelOf, meaningOf } from '../uncertainty/source.ts';

interface BudgetRow {
  readonly source: string;
  readonly meaning: string;
  readonly kind: 'random' | 'shared';
  /** Standard uncertainty that it brings to the result. */
  readonly u: number;
  /** Of the combined variance, percent. */
  readonly sharePercent: number;
}

export interface ResultBudget {
  /** Largest first. */
  readonly rows: readonly BudgetRow[];
  readonly result: Result;
}

/** Of the combined uncertainty: less than this is rounding. */
const tooSmall = 1e-4;

/** Budget of one of the two results of a line; in its SI unit. */
export function budgetOfLine(cell: LineCell, of: 'deadTime' | 'slope'): ResultBudget {
  const result = cell[of];
  const effect = of === 'deadTime' ? 'onDeadTime' : 'onSlope';
  const share = (u: number): number => (result.u > 0 ? (100 * u * u) / (result.u * result.u) : 0);
  const rows: BudgetRow[] = [
    {
      source: 'scatter of the masses about the line',
      meaning: `From ${cell.sources.length} windows; ${degrees(result.dofRandom)} degrees of freedom. More replicates or widths make it smaller.`,
      kind: 'random',
      u: result.uRandom,
      sharePercent: share(result.uRandom),
    },
    ...cell.shared
      .map((part): BudgetRow => ({ source: labelOf(part.source), meaning: meaningOf(part.source), kind: 'shared', u: Math.abs(part[effect]), sharePercent: share(part[effect]) }))
      .filter((row) => row.u > tooSmall * result.u),
  ];
  return { rows: rows.sort((a, b) => b.u - a.u), result };
}
