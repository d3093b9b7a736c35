/** Moving about a sheet and selecting in it by keyboard, as the grid pattern of the ARIA authoring practices has it. */
import type { Sheet } from './sheets.ts';

export interface GridPlace {
  readonly row: number;
  readonly column: number;
}

export interface GridSelection {
  readonly focus: GridPlace;
  /** Where an extended selection began. */
  readonly anchor: GridPlace;
  readonly selected: ReadonlySet<number>;
}

export interface Key {
  readonly key: string;
  readonly shift: boolean;
  readonly ctrl: boolean;
}

export const atStart: GridSelection = { focus: { row: 0, column: 0 }, anchor: { row: 0, column: 0 }, selected: new Set() };

const clamp = (value: number, most: number) => Math.max(0, Math.min(most, value));

export function pointAt(sheet: Sheet, { row, column }: GridPlace): number | null {
  return sheet.rows[row]?.points[column] ?? null;
}

/** Where a point lies; null: not on this sheet. */
export function placeOf(sheet: Sheet, point: number): GridPlace | null {
  for (const [row, { points }] of sheet.rows.entries()) {
    const column = points.indexOf(point);
    if (column >= 0) return { row, column };
  }
  return null;
}

/** The next of `wanted` after a place, along the rows of its sheet, then on the sheets after it, and round to the beginning; null: there is none. */
export function nextOf(sheets: readonly Sheet[], from: Sheet, { row, column }: GridPlace, wanted: ReadonlySet<number>): { readonly sheet: Sheet; readonly place: GridPlace } | null {
  const start = Math.max(0, sheets.indexOf(from));
  // The sheet that it began on comes last once more, for what lies before the place.
  for (let step = 0; step <= sheets.length; step += 1) {
    const sheet = sheets[(start + step) % sheets.length];
    for (const [r, { points }] of sheet?.rows.entries() ?? []) {
      for (const [c, point] of points.entries()) {
        if (step === 0 && (r < row || (r === row && c <= column))) continue;
        if (point !== null && wanted.has(point) && sheet !== undefined) return { sheet, place: { row: r, column: c } };
      }
    }
  }
  return null;
}

/** The place within the sheet that is nearest to `place`: another sheet may be smaller. */
export function within(sheet: Sheet, place: GridPlace): GridPlace {
  const row = clamp(place.row, sheet.rows.length - 1);
  return { row, column: clamp(place.column, (sheet.rows[row]?.points.length ?? 1) - 1) };
}

/** What a key does to focus and selection; null: it is not a key of the grid. `page` rows make a page. */
export function afterKey(sheet: Sheet, selection: GridSelection, pressed: Key, page: number): GridSelection | null {
  const { focus } = selection;
  const lastRow = sheet.rows.length - 1;
  const lastColumn = (sheet.rows[0]?.points.length ?? 1) - 1;
  const to = (row: number, column: number) => moved(sheet, selection, { row: clamp(row, lastRow), column: clamp(column, lastColumn) }, pressed.shift);
  switch (pressed.key) {
    case 'ArrowLeft':
      return to(focus.row, focus.column - 1);
    case 'ArrowRight':
      return to(focus.row, focus.column + 1);
    case 'ArrowUp':
      return to(focus.row - 1, focus.column);
    case 'ArrowDown':
      return to(focus.row + 1, focus.column);
    case 'Home':
      return to(pressed.ctrl ? 0 : focus.row, 0);
    case 'End':
      return to(pressed.ctrl ? lastRow : focus.row, lastColumn);
    case 'PageUp':
      return to(focus.row - page, focus.column);
    case 'PageDown':
      return to(focus.row + page, focus.column);
    case ' ':
      return toggled(sheet, selection, focus);
    case 'a':
      return pressed.ctrl ? { ...selection, selected: new Set([...selection.selected, ...sheet.points]) } : null;
    case 'Escape':
      return selection.selected.size === 0 ? null : { ...selection, anchor: focus, selected: new Set() };
    default:
      return null;
  }
}

function moved(sheet: Sheet, selection: GridSelection, focus: GridPlace, extend: boolean): GridSelection {
  return extend
    ? { ...selection, focus, selected: block(sheet, selection.anchor, focus) }
    : { ...selection, focus, anchor: focus };
}

export function toggled(sheet: Sheet, selection: GridSelection, place: GridPlace): GridSelection {
  const point = pointAt(sheet, place);
  if (point === null) return selection;
  const selected = new Set(selection.selected);
  if (!selected.delete(point)) selected.add(point);
  return { focus: place, anchor: place, selected };
}

export function extendedTo(sheet: Sheet, selection: GridSelection, place: GridPlace): GridSelection {
  return moved(sheet, selection, place, true);
}

function block(sheet: Sheet, a: GridPlace, b: GridPlace): ReadonlySet<number> {
  const selected = new Set<number>();
  for (let row = Math.min(a.row, b.row); row <= Math.max(a.row, b.row); row += 1)
    for (let column = Math.min(a.column, b.column); column <= Math.max(a.column, b.column); column += 1) {
      const point = pointAt(sheet, { row, column });
      if (point !== null) selected.add(point);
    }
  return selected;
}

/** What of rows or columns of one size is on the screen, with a margin, so that only that much is drawn. */
export function visible(offset: number, extent: number, size: number, count: number, margin: number): { readonly from: number; readonly to: number } {
  const from = clamp(Math.floor(offset / size) - margin, count);
  return { from, to: clamp(Math.ceil((offset + extent) / size) + margin, count) };
}
