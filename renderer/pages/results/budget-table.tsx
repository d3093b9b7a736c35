import { decimals } from '../../components/decimals.ts';
import { useMemo } from 'react';
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { budgetOfLine } from '../../../app/results/line-budget.ts';
import { stepsOf } from './budget-view.ts';
import { FigureTable } from './figure-table.tsx';
import { figureShown as figure } from '../../components/figures.ts';

const kinds = { random: 'random: new with each window', shared: 'shared by all windows' } as const;

/** The budget of dead time or slope, line by line, and the way from its parts to the stated uncertainty. */
export function LineBudgetTable({ cell, of, unit, convert }: { readonly cell: LineCell; readonly of: 'deadTime' | 'slope'; readonly unit: string; readonly convert: (value: number) => number }) {
  const budget = useMemo(() => budgetOfLine(cell, of), [cell, of]);
  const text = (u: number): string => `${figure(convert(u), convert(u))} ${unit}`;
  return (
    <>
      <FigureTable
        caption={`Uncertainty budget of the ${of === 'deadTime' ? 'dead time' : 'slope'} of ${cell.serialNumber}`}
        columns={['Source', 'What it is', 'Kind', `Standard uncertainty, ${unit}`, 'Share of the variance']}
        words={[0, 1]}
        rows={budget.rows.map((row) => ({
          key: row.source,
          head: row.source,
          cells: [row.meaning, kinds[row.kind], figure(convert(row.u), convert(row.u)), <Share key="share" percent={row.sharePercent} />],
        }))}
      />
      <ol className="steps">
        {stepsOf(budget, text).map((step) => (
          <li key={step}>{decimals(step)}</li>
        ))}
      </ol>
    </>
  );
}

/** A share of the whole as a number and a bar. */
export function Share({ percent }: { readonly percent: number }) {
  return (
    <span className="share">
      <svg width="60" height="8" aria-hidden="true">
        <rect width="60" height="8" fill="var(--grid)" />
        <rect width={0.6 * percent} height="8" fill="var(--line)" />
      </svg>
      {decimals(percent < 0.1 ? 'under 0.1 %' : `${percent.toFixed(percent < 10 ? 1 : 0)} %`)}
    </span>
  );
}
