import type { ReactNode } from 'react';
import type { Problem } from '../../../app/boundary/problems.ts';
import { Button } from '../../components/button.tsx';
import { useOneStop } from '../../components/one-stop.ts';
import { ColumnHeads, ColumnHelp, FieldProblems, RowCell, idOf } from './plan-field.tsx';
import type { CellUnit, RowListProps } from './plan-field.tsx';
import { problemsAt } from './plan-form.ts';

type RowOf<Column extends string> = Readonly<Record<Column, string>> & { readonly key: number };

interface RowsTableProps<Column extends string, Row extends RowOf<Column>> extends RowListProps {
  /** One of the rows, as it is called: `guard`. */
  readonly one: string;
  readonly label: string;
  readonly caption?: string;
  readonly columns: readonly Column[];
  readonly rows: readonly Row[];
  /** The column by which a row is called; where it is empty, its number does. */
  readonly calledBy: Column;
  readonly problems: readonly Problem[];
  /** A row can be wrong as a whole, and this column is where it is put right. */
  readonly rightAt?: Column;
  /** More columns of rows that another table shows already: without the way to remove one. */
  readonly continued?: boolean;
  /** Words of the columns stand below the table, so that as many as it has fit beside each other. */
  readonly helpBelow?: boolean;
  /** One more cell, which is no field. */
  readonly more?: { readonly title: string; readonly of: (row: Row) => ReactNode };
  /** Unit of a cell, where the column has none of its own. */
  readonly unitOf?: (row: Row, column: Column) => CellUnit | null;
  readonly onChange: (key: number, column: Column, text: string) => void;
  readonly onRemove: (key: number) => void;
}

/** A list of the plan as a table of fields, with what is wrong beside each. */
export function RowsTable<Column extends string, Row extends RowOf<Column>>({ list, one, label, caption = label, columns, rows, calledBy, problems, rightAt, continued = false, helpBelow = false, more, unitOf, onChange, onRemove }: RowsTableProps<Column, Row>) {
  const stops = useOneStop<HTMLTableSectionElement>('tr');
  return (
    <>
      <div className="plan-scroll" tabIndex={rows.length > 0 ? 0 : -1} role="group" aria-label={label}>
        <table className={`plain plan-rows plan-rows-${list}`} {...(continued ? {} : { id: idOf(list), tabIndex: -1 })}>
          <caption className="unseen">{caption}</caption>
          <thead>
            <tr>
              {continued && <th scope="col">{one.charAt(0).toUpperCase() + one.slice(1)}</th>}
              <ColumnHeads list={list} columns={columns} helpBelow={helpBelow} />
              {more !== undefined && <th scope="col">{more.title}</th>}
              {!continued && (
                <th scope="col">
                  <span className="unseen">Remove</span>
                </th>
              )}
            </tr>
          </thead>
          <tbody {...stops}>
            {rows.map((row, index) => {
              const name = row[calledBy];
              const path = `${list}[${index}]`;
              return (
                <tr key={row.key} {...(rightAt === undefined ? {} : { id: idOf(path), tabIndex: -1 })}>
                  {continued && <th scope="row">{name === '' ? index + 1 : name}</th>}
                  {columns.map((column) => (
                    <RowCell
                      key={column}
                      list={list}
                      index={index}
                      column={column}
                      row={`${one} ${index + 1}${name === '' ? '' : `, ${name}`}`}
                      value={row[column]}
                      unit={unitOf?.(row, column) ?? null}
                      problems={[...problemsAt(problems, `${path}.${column}`), ...(column === rightAt ? problemsAt(problems, path) : [])]}
                      onChange={(text) => onChange(row.key, column, text)}
                    />
                  ))}
                  {more !== undefined && <td>{more.of(row)}</td>}
                  {!continued && (
                    <td>
                      <Button kind="quiet" label={`Remove: ${one} ${name || index + 1}`} onPress={() => onRemove(row.key)}>
                        Remove
                      </Button>
                    </td>
                  )}
                </tr>
              );
            })}
          </tbody>
        </table>
      </div>
      {helpBelow && <ColumnHelp list={list} columns={columns} />}
      {!continued && <FieldProblems id={idOf(`${list}:wrong`)} texts={problemsAt(problems, list)} />}
    </>
  );
}
