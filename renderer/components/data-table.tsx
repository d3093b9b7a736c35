/**
 * A table that sorts, is walked with the arrow keys and draws only the rows that can be seen once it is long.
 * One row is in the order of keys (the current one); Home, End, PageUp and PageDown go far, Enter opens.
 */
import { cellShown } from './decimals.ts';
import { createSortedRowModel, rowSortingFeature, sortFn_basic, tableFeatures, useTable } from '@tanstack/react-table';
import type { ColumnDef, SortingState } from '@tanstack/react-table';
import { useVirtualizer } from '@tanstack/react-virtual';
import { useMemo, useRef, useState } from 'react';
import type { KeyboardEvent, ReactNode } from 'react';

export interface Column<Row> {
  readonly key: string;
  readonly title: string;
  readonly cell: (row: Row) => ReactNode;
  /** What the column sorts by; absent: it does not sort. */
  readonly sortBy?: (row: Row) => string | number;
  /** Numbers stand at the right, in figures of one width. */
  readonly numeric?: boolean;
  /** CSS grid track; default `minmax(6rem, 1fr)`. */
  readonly width?: string;
}

interface DataTableProps<Row> {
  /** What the table holds, for readers of the screen. */
  readonly label: string;
  /** Stable between renders, or everything is worked out again. */
  readonly columns: readonly Column<Row>[];
  readonly rows: readonly Row[];
  readonly rowKey: (row: Row) => string;
  /** In place of rows when there are none: why, and what to do. */
  readonly empty: ReactNode;
  readonly onOpen?: (row: Row) => void;
  /** Key of the row that is shown as chosen. */
  readonly selected?: string | null;
  /** At most this high; the table scrolls inside. Default 28rem. */
  readonly maxHeight?: string;
  /** Called when the last rows come into view: time to ask for more. */
  readonly onEnd?: () => void;
}

const features = tableFeatures({ rowSortingFeature, sortedRowModel: createSortedRowModel(), sortFns: { basic: sortFn_basic } });
const rowHeight = 36;
const pageOfRows = 10;

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function DataTable<Row>({ label, columns, rows, rowKey, empty, onOpen, selected = null, maxHeight = '28rem', onEnd }: DataTableProps<Row>) {
  const [sorting, setSorting] = useState<SortingState>([]);
  const [current, setCurrent] = useState(0);
  const scroller = useRef<HTMLDivElement>(null);
  const data = useMemo(() => [...rows], [rows]);
  const definitions = useMemo(
    () =>
      columns.map(
        (column): ColumnDef<typeof features, { readonly row: Row }> => ({
          id: column.key,
          accessorFn: ({ row }) => column.sortBy?.(row) ?? '',
          enableSorting: column.sortBy !== undefined,
          sortFn: 'basic',
        }),
      ),
    [columns],
  );
  const wrapped = useMemo(() => data.map((row) => ({ row })), [data]);
  const table = useTable({ features, data: wrapped, columns: definitions, state: { sorting }, onSortingChange: setSorting });
  const sorted = table.getRowModel().rows;
  const virtual = useVirtualizer({
    count: sorted.length,
    getScrollElement: () => scroller.current,
    estimateSize: () => rowHeight,
    overscan: 12,
    onChange: (instance) => {
      const last = instance.getVirtualItems().at(-1);
      if (onEnd !== undefined && last !== undefined && sorted.length > 0 && last.index >= sorted.length - 1) onEnd();
    },
  });
  const template = columns.map((column) => column.width ?? 'minmax(6rem, 1fr)').join(' ');

  const goTo = (index: number): void => {
    const next = Math.min(sorted.length - 1, Math.max(0, index));
    setCurrent(next);
    virtual.scrollToIndex(next);
    // The row may only be drawn by the scrolling.
    requestAnimationFrame(() => scroller.current?.querySelector<HTMLElement>(`[data-index="${next}"]`)?.focus({ preventScroll: true }));
  };
  const onKeyDown = (event: KeyboardEvent, index: number, row: Row): void => {
    if (event.target !== event.currentTarget) return;
    const steps: Readonly<Record<string, number>> = { ArrowDown: 1, ArrowUp: -1, PageDown: pageOfRows, PageUp: -pageOfRows, Home: -Infinity, End: Infinity };
    const step = steps[event.key];
    if (step !== undefined) {
      event.preventDefault();
      goTo(step === -Infinity ? 0 : step === Infinity ? sorted.length - 1 : index + step);
    } else if ((event.key === 'Enter' || event.key === ' ') && onOpen !== undefined) {
      event.preventDefault();
      onOpen(row);
    }
  };

  return (
    <div className={onOpen === undefined ? 'table-frame' : 'table-frame table-of-ways'} role="table" aria-label={label} aria-rowcount={sorted.length + 1} style={{ maxHeight }} ref={scroller}>
      <div role="rowgroup" className="table-head">
        <div role="row" className="table-row" style={{ gridTemplateColumns: template }}>
          {columns.map((column) => {
            const order = sorting.find((one) => one.id === column.key);
            const direction = order === undefined ? 'none' : order.desc ? 'descending' : 'ascending';
            return (
              <div key={column.key} role="columnheader" aria-sort={direction} className={column.numeric === true ? 'numeric' : undefined}>
                {column.sortBy === undefined ? (
                  column.title
                ) : (
                  <button
                    type="button"
                    className="table-sort"
                    onClick={() => setSorting(direction === 'none' ? [{ id: column.key, desc: false }] : direction === 'ascending' ? [{ id: column.key, desc: true }] : [])}
                  >
                    {column.title}
                    <span aria-hidden="true">{direction === 'ascending' ? ' ▲' : direction === 'descending' ? ' ▼' : ' ↕'}</span>
                  </button>
                )}
              </div>
            );
          })}
        </div>
      </div>
      {sorted.length === 0 ? (
        <div className="table-empty" role="row">
          <div role="cell">{empty}</div>
        </div>
      ) : (
        <div role="rowgroup" className="table-body" style={{ height: virtual.getTotalSize() }}>
          {virtual.getVirtualItems().map((item) => {
            const row = sorted[item.index]?.original.row;
            if (row === undefined) return null;
            const key = rowKey(row);
            return (
              <div
                key={key}
                role="row"
                data-index={item.index}
                aria-rowindex={item.index + 2}
                ref={virtual.measureElement}
                tabIndex={item.index === Math.min(current, sorted.length - 1) ? 0 : -1}
                className={`table-row table-data${key === selected ? ' table-selected' : ''}${onOpen === undefined ? '' : ' table-opens'}`}
                style={{ gridTemplateColumns: template, transform: `translateY(${item.start}px)` }}
                onFocus={() => setCurrent(item.index)}
                onKeyDown={(event) => onKeyDown(event, item.index, row)}
                onClick={() => onOpen?.(row)}
              >
                {columns.map((column) => (
                  <div key={column.key} role="cell" className={column.numeric === true ? 'numeric' : undefined}>
                    {column.numeric === true ? cellShown(column.cell(row)) : column.cell(row)}
                  </div>
                ))}
              </div>
            );
          })}
        </div>
      )}
    </div>
  );
}
