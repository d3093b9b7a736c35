/** The rows that are being typed. They outlive the page, the window and the host (WIN-28); each change can be taken back (WIN-31). */
import { flushSync } from 'react-dom';
import { create } from 'zustand';
import { withStep } from '../../components/undo.ts';
import type { Step } from '../../components/undo.ts';
import { keepStore } from '../../typed/typed.ts';
import { begunIn, isChanged, refreshed, rowsOf, withBegun } from './parts-grid.ts';
import type { Begun, KnownPart, Row } from './parts-grid.ts';

interface RowsState {
  /** null: not read yet. */
  readonly rows: readonly Row[] | null;
  /** As the host had the injectors when they were read or saved last. */
  readonly parts: readonly KnownPart[];
  /** What the host had kept of rows, until the injectors are read. */
  readonly begun: readonly Begun[];
  readonly steps: readonly Step<readonly Row[]>[];
}

export const useRows = create<RowsState>()(() => ({ rows: null, parts: [], begun: [], steps: [] }));

export const rowsNow = (): readonly Row[] => useRows.getState().rows ?? [];

/** Drawn at once, so that the next key that is typed finds the cell to which the focus goes. `mark`: as of a step. */
export function changeRows(change: (rows: readonly Row[]) => readonly Row[], what: string, mark = ''): void {
  flushSync(() =>
    useRows.setState(({ rows, steps }) => {
      const before = rows ?? [];
      return { rows: change(before), steps: withStep(steps, { before, what, mark }) };
    }),
  );
}

/** What was saved is not taken back. */
export function savedRows(change: (rows: readonly Row[]) => readonly Row[], parts: readonly KnownPart[]): void {
  flushSync(() => useRows.setState(({ rows }) => ({ rows: change(rows ?? []), parts, steps: [] })));
}

export function undoRows(): void {
  useRows.setState(({ rows, steps, parts }) => {
    const step = steps.at(-1);
    return step === undefined ? { rows } : { rows: refreshed(step.before, parts), steps: steps.slice(0, -1) };
  });
}

/** The injectors as the host has them now; what is being typed stays. */
export function readRows(parts: readonly KnownPart[]): void {
  useRows.setState(({ rows, begun }) => ({ rows: withBegun(rows === null ? rowsOf(parts) : refreshed(rows, parts), begun), parts, begun: [] }));
}

const isBegun = (content: unknown): content is readonly Begun[] =>
  Array.isArray(content) && (content as Partial<Begun>[]).every((one) => typeof one.cells === 'object' && typeof one.cells.serialNumber === 'string');

keepStore(
  'injectors/rows.1',
  useRows,
  ({ rows, begun }) => {
    const content = rows === null ? begun : begunIn(rows);
    return content.length === 0 ? null : { content, title: content.length === 1 ? '1 injector' : `${content.length} injectors`, work: true };
  },
  (content) => {
    if (isBegun(content)) useRows.setState(({ rows }) => (rows === null ? { begun: content } : { rows: withBegun(rows.filter((row) => !isChanged(row)), content), steps: [] }));
  },
);
