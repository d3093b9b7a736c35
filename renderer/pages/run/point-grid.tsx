/**
 * The points of a sheet as a grid (ARIA grid pattern): one cell is in the order of keys, arrows move, Enter opens, Space
 * selects, Shift extends. Only the rows and columns that can be seen are drawn, and a row is drawn again only when
 * something in it changed, so that thousands of points cost no more than a screenful.
 */
import { memo, useEffect, useLayoutEffect, useMemo, useRef, useState } from 'react';
import type { CSSProperties, FocusEvent, KeyboardEvent, MouseEvent } from 'react';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { glyphOf, lookOf, wordOf } from './cells.ts';
import type { Look } from './cells.ts';
import { pointWords } from './sheets.ts';
import type { Sheet, SheetRow } from './sheets.ts';
import { afterKey, extendedTo, placeOf, pointAt, toggled, visible, within } from './walk.ts';
import type { GridPlace, GridSelection } from './walk.ts';
import { useSettings } from '../../settings/settings.ts';
import { plural } from '../../components/plural.ts';

/** A cell takes the room that there is, within these; the least is that of a target for the pointer (WCAG 2.2, 2.5.8), and with gloves of an enhanced one (2.5.5). */
const leastCell = 25;
const mostCell = 48;
/** Where a sheet has few columns, which have longer names. */
const fewColumns = 6;
const mostOfFew = 88;
const gloveCell = 44;
const headWidth = { group: 104, label: 68 };
const margin = 6;

interface PointGridProps {
  readonly plan: Plan;
  readonly points: readonly Point[];
  readonly sheet: Sheet;
  readonly state: RunState;
  readonly selection: GridSelection;
  readonly opened: number | null;
  readonly onSelect: (selection: GridSelection) => void;
  /** `byKey`: opened with the keyboard, which then goes on in what was opened. */
  readonly onOpen: (point: number, byKey: boolean) => void;
  /** Keys of the grid that do something to the run: select all failed, measure again. */
  readonly onKey: (key: string) => boolean;
  /** Changes when the focus is to go to the cell of the selection's focus. */
  readonly focusRequest: number;
  /** Told when the focus comes into the grid, and when it leaves. */
  readonly onInside: (inside: boolean) => void;
}

/** What of the grid is in sight, in pixels. */
interface GridView {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/** `old` where it is still so. */
function viewOf({ scrollLeft: left, scrollTop: top, clientWidth: width, clientHeight: height }: HTMLElement, old: GridView): GridView {
  return left === old.left && top === old.top && width === old.width && height === old.height ? old : { left, top, width, height };
}

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function PointGrid({ plan, points, sheet, state, selection, opened, onSelect, onOpen, onKey, focusRequest, onInside }: PointGridProps) {
  const scroller = useRef<HTMLDivElement>(null);
  const inside = useFocusInside(onInside);
  const [view, setView] = useState<GridView>({ left: 0, top: 0, width: 800, height: 420 });
  const gloves = useSettings((settings) => settings.gloves);
  const rowHeight = gloves ? gloveCell : leastCell;
  const wantsFocus = useRef(false);
  const focus = within(sheet, selection.focus);
  const span = sheet.columnGroups[0]?.span ?? 1;
  const columnCount = sheet.columnGroups.length * span;

  useLayoutEffect(() => {
    const element = scroller.current;
    if (element === null) return undefined;
    const read = () => setView((old) => viewOf(element, old));
    read();
    const observer = new ResizeObserver(read);
    observer.observe(element);
    element.addEventListener('scroll', read, { passive: true });
    return () => {
      observer.disconnect();
      element.removeEventListener('scroll', read);
    };
  }, []);

  const room = view.width - headWidth.group - headWidth.label;
  const cellWidth = Math.floor(Math.max(gloves ? gloveCell : leastCell, Math.min(columnCount <= fewColumns ? mostOfFew : mostCell, room / columnCount)));
  const headHeight = sheet.columns.length > 0 ? 2 * rowHeight : rowHeight;
  const rows = visible(view.top, view.height, rowHeight, sheet.rows.length, margin);
  const groups = visible(view.left, room, span * cellWidth, sheet.columnGroups.length, Math.ceil(margin / span));
  const standings = useMemo(() => sheet.rows.slice(rows.from, rows.to).map((row) => standingOf(state, row)), [state, sheet, rows.from, rows.to]);
  const columns = { from: groups.from * span, to: groups.to * span };

  // The cell that has the focus is brought into sight before it is focused: it may not be drawn yet.
  const reveal = (place: GridPlace): void => {
    const element = scroller.current;
    if (element === null) return;
    const [x, y] = [place.column * cellWidth, place.row * rowHeight];
    const height = element.clientHeight - headHeight;
    element.scrollLeft = Math.min(x, Math.max(element.scrollLeft, x + cellWidth - room));
    element.scrollTop = Math.min(y, Math.max(element.scrollTop, y + rowHeight - height));
    // What comes into sight is drawn with the key that brought it there: the browser tells of the scrolling a frame later (WIN-171).
    setView((old) => viewOf(element, old));
  };
  useEffect(() => {
    if (!wantsFocus.current) return;
    const cell = scroller.current?.querySelector<HTMLElement>('[role="gridcell"][tabindex="0"]');
    if (cell === null || cell === undefined) return;
    wantsFocus.current = false;
    cell.focus({ preventScroll: true });
  });
  const lastRequest = useRef(focusRequest);
  useEffect(() => {
    if (lastRequest.current === focusRequest) return;
    lastRequest.current = focusRequest;
    wantsFocus.current = true;
    reveal(focus);
    setView((old) => ({ ...old }));
  });

  const go = (next: GridSelection): void => {
    wantsFocus.current = true;
    reveal(next.focus);
    onSelect(next);
  };
  const onKeyDown = (event: KeyboardEvent): void => {
    if (event.altKey || (event.metaKey && event.key !== 'a')) return;
    const point = pointAt(sheet, focus);
    if (event.key === 'Enter' && point !== null) {
      event.preventDefault();
      onOpen(point, true);
      return;
    }
    const page = Math.max(1, Math.floor((view.height - headHeight) / rowHeight) - 1);
    const next = afterKey(sheet, { ...selection, focus }, { key: event.key, shift: event.shiftKey, ctrl: event.ctrlKey || event.metaKey }, page);
    if (next !== null) {
      event.preventDefault();
      go(next);
    } else if (!event.ctrlKey && !event.metaKey && onKey(event.key.toLowerCase())) event.preventDefault();
  };
  const onClick = (event: MouseEvent): void => {
    const cell = (event.target as HTMLElement).closest<HTMLElement>('[data-point]');
    if (cell === null) return;
    const point = Number(cell.dataset['point']);
    const place = placeOf(sheet, point);
    if (place === null) return;
    if (event.shiftKey) go(extendedTo(sheet, { ...selection, focus }, place));
    else if (event.ctrlKey || event.metaKey) go(toggled(sheet, { ...selection, focus }, place));
    else {
      go({ focus: place, anchor: place, selected: selection.selected });
      onOpen(point, false);
    }
  };

  const width = headWidth.group + headWidth.label + columnCount * cellWidth;
  const before = columns.from;
  const after = columnCount - columns.to;
  const drawnGroups = sheet.columnGroups.slice(groups.from, groups.to);
  return (
    <div className="run-grid" ref={scroller}>
      <table
        role="grid"
        aria-label={`Points at ${sheet.label}`}
        aria-multiselectable="true"
        aria-rowcount={sheet.rows.length + 1}
        aria-colcount={columnCount + 2}
        ref={inside.ref}
        tabIndex={-1}
        onFocus={inside.onFocus}
        onBlur={inside.onBlur}
        style={{ width, '--row': `${rowHeight}px` } as CSSProperties}
        onKeyDown={onKeyDown}
        onClick={onClick}
      >
        <colgroup>
          <col style={{ width: headWidth.group }} />
          <col style={{ width: headWidth.label }} />
          {Array.from({ length: columnCount }, (_, column) => (
            <col key={column} style={{ width: cellWidth }} />
          ))}
        </colgroup>
        <thead>
          <tr aria-rowindex={1}>
            <th scope="col" className="run-corner run-corner-group" rowSpan={sheet.columns.length > 0 ? 2 : 1}>
              Injector
            </th>
            <th scope="col" className="run-corner run-corner-label" rowSpan={sheet.columns.length > 0 ? 2 : 1}>
              {sheet.rowTitle}
            </th>
            {before > 0 && <td colSpan={before} aria-hidden="true" />}
            {drawnGroups.map((group, index) => (
              <th key={group.label} scope="colgroup" colSpan={group.span} aria-colindex={(groups.from + index) * span + 3} className="run-group-edge">
                {group.label}
              </th>
            ))}
            {after > 0 && <td colSpan={after} aria-hidden="true" />}
          </tr>
          {sheet.columns.length > 0 && (
            <tr className="run-replicates" aria-hidden="true">
              {before > 0 && <td colSpan={before} />}
              {sheet.columns.slice(columns.from, columns.to).map((label, index) => (
                <td key={columns.from + index} className={(columns.from + index) % span === 0 ? 'run-group-edge' : undefined}>
                  {label}
                </td>
              ))}
              {after > 0 && <td colSpan={after} />}
            </tr>
          )}
        </thead>
        <tbody>
          {rows.from > 0 && (
            <tr aria-hidden="true">
              <td colSpan={columnCount + 2} style={{ height: rows.from * rowHeight }} />
            </tr>
          )}
          {sheet.rows.slice(rows.from, rows.to).map((row, drawn) => {
            const index = rows.from + drawn;
            return (
              <GridRow
                key={`${row.group} ${row.label}`}
                plan={plan}
                points={points}
                row={row}
                index={index}
                first={drawn === 0 || sheet.rows[index - 1]?.group !== row.group}
                from={columns.from}
                to={columns.to}
                span={span}
                standing={standings[drawn] ?? ''}
                selected={selection.selected.size === 0 ? '' : row.points.map((point) => (point !== null && selection.selected.has(point) ? '1' : '0')).join('')}
                focused={focus.row === index ? focus.column : -1}
                opened={opened !== null && row.points.includes(opened) ? opened : null}
              />
            );
          })}
          {rows.to < sheet.rows.length && (
            <tr aria-hidden="true">
              <td colSpan={columnCount + 2} style={{ height: (sheet.rows.length - rows.to) * rowHeight }} />
            </tr>
          )}
        </tbody>
      </table>
    </div>
  );
}

/**
 * Keeps the focus in the grid: a cell that is scrolled out of sight, or whose sheet is changed, is drawn no more and would take the focus with it to
 * nowhere, and the keys of the grid would be dead (WIN-111). The table takes it then; the next key goes on from the same place.
 */
function useFocusInside(tell: (inside: boolean) => void) {
  const ref = useRef<HTMLTableElement>(null);
  const had = useRef(false);
  const set = (inside: boolean): void => {
    if (had.current !== inside) tell(inside);
    had.current = inside;
  };
  useLayoutEffect(() => {
    if (had.current && document.activeElement === document.body) ref.current?.focus({ preventScroll: true });
  });
  // With the grid goes what was in it.
  useEffect(() => () => tell(false), [tell]);
  return {
    ref,
    onFocus: () => set(true),
    // Another window takes it from nothing here: it comes back to the same cell.
    onBlur: (event: FocusEvent) => set(ref.current?.contains(event.relatedTarget ?? document.activeElement) === true),
  };
}

/** How the points of a row stand, as one text that is the same as long as nothing in the row changed. */
function standingOf(state: RunState, row: SheetRow): string {
  return row.points.map((point) => (point === null ? '' : `${lookOf(state, point)}:${state.points.at(point)?.attempts.length ?? 0}`)).join(' ');
}

interface GridRowProps {
  readonly plan: Plan;
  readonly points: readonly Point[];
  readonly row: SheetRow;
  readonly index: number;
  /** Shows the group's name: the first drawn row of it. */
  readonly first: boolean;
  readonly from: number;
  readonly to: number;
  readonly span: number;
  readonly standing: string;
  readonly selected: string;
  readonly focused: number;
  readonly opened: number | null;
}

const GridRow = memo(function GridRow({ plan, points, row, index, first, from, to, span, standing, selected, focused, opened }: GridRowProps) {
  const standings = useMemo(() => standing.split(' '), [standing]);
  const words = useMemo(
    () => row.points.map((index) => {
      const point = index === null ? undefined : points[index];
      return point === undefined ? '' : pointWords(plan, point);
    }),
    [plan, points, row],
  );
  return (
    <tr aria-rowindex={index + 2} className={first ? 'run-first' : undefined}>
      <th scope="row" className="run-row-group" title={row.group}>
        <span className={first ? undefined : 'unseen'}>{row.group}</span>
      </th>
      <th scope="row" className="run-row-label">
        {row.label}
      </th>
      {from > 0 && <td colSpan={from} aria-hidden="true" />}
      {row.points.slice(from, to).map((point, drawn) => {
        const column = from + drawn;
        const edge = column % span === 0 ? ' run-group-edge' : '';
        if (point === null) {
          return (
            <td
              key={column} role="gridcell" aria-colindex={column + 3} aria-label="no point here" tabIndex={focused === column ? 0 : -1} className={`run-cell run-cell-empty${edge}`}
            />
          );
        }
        const [name, count] = (standings[column] ?? 'planned:0').split(':');
        const look = name as Look;
        const attempts = Number(count);
        const text = `${words[column] ?? ''}: ${wordOf(look)}${attempts > 0 ? `, ${plural(attempts, 'attempt')}` : ''}`;
        return (
          <td
            key={column}
            role="gridcell"
            aria-colindex={column + 3}
            aria-selected={selected[column] === '1'}
            aria-label={text}
            title={text}
            data-point={point}
            tabIndex={focused === column ? 0 : -1}
            className={`run-cell run-look-${look}${edge}${opened === point ? ' run-cell-opened' : ''}`}
          >
            <span aria-hidden="true" className={attempts > 1 ? 'run-cell-signs run-cell-counted' : 'run-cell-signs'}>
              <span>{glyphOf(look)}</span>
              {attempts > 1 && <sup>{attempts}</sup>}
            </span>
          </td>
        );
      })}
      {to < row.points.length && <td colSpan={row.points.length - to} aria-hidden="true" />}
    </tr>
  );
});
