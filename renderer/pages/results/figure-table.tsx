import { cellShown } from '../../components/decimals.ts';
import type { ReactNode } from 'react';

interface FigureRow {
  readonly key: string;
  readonly head: ReactNode;
  readonly cells: readonly ReactNode[];
}

interface FigureTableProps {
  readonly caption: string;
  /** The first stands over the heads of the rows. */
  readonly columns: readonly ReactNode[];
  readonly rows: readonly FigureRow[];
  /** Columns (from 0, heads not counted) that hold words; all others hold numbers. */
  readonly words?: readonly number[];
  /** As wide as it needs to be, and not as the page: so that a value stands beside its head. */
  readonly narrow?: boolean;
}

/** The table beside a chart. It can be scrolled by keyboard where it is wider than the page. */
export function FigureTable({ caption, columns, rows, words = [], narrow = false }: FigureTableProps) {
  const [corner, ...heads] = columns;
  const kind = (i: number): string | undefined => (words.includes(i) ? undefined : 'numeric');
  return (
    <div className={narrow ? 'figure-table figure-table-narrow' : 'figure-table'} role="region" aria-label={caption} tabIndex={0}>
      <table className="plain">
        <caption>{caption}</caption>
        <thead>
          <tr>
            <th scope="col">{corner}</th>
            {heads.map((head, i) => (
              <th key={i} scope="col" className={kind(i)}>
                {cellShown(head)}
              </th>
            ))}
          </tr>
        </thead>
        <tbody>
          {rows.map((row) => (
            <tr key={row.key}>
              <th scope="row">{cellShown(row.head)}</th>
              {row.cells.map((cell, i) => (
                <td key={i} className={kind(i)}>
                  {cellShown(cell)}
                </td>
              ))}
            </tr>
          ))}
        </tbody>
      </table>
    </div>
  );
}

/** A value that is not there, with the reason at hand; the same reasons stand in full below the table. */
export function Missing({ why }: { readonly why: string }) {
  return (
    <span className="missing">
      –<span className="unseen"> {why}</span>
    </span>
  );
}

/** Why cells of a table have no value, each reason once with the places that it holds for. */
export function MissingList({ of }: { readonly of: readonly { readonly where: string; readonly why: string }[] }) {
  if (of.length === 0) return null;
  const byReason = new Map<string, string[]>();
  for (const { where, why } of of) {
    const places = byReason.get(why);
    if (places === undefined) byReason.set(why, [where]);
    else places.push(where);
  }
  return (
    <div className="missing-list">
      <h3>Without a value</h3>
      <ul>
        {[...byReason].map(([why, places]) => (
          <li key={why}>
            {places.join(', ')}: {why}
          </li>
        ))}
      </ul>
    </div>
  );
}
