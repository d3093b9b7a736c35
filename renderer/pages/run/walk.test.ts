import { describe, expect, it } from 'vitest';
import { expandPlan } from '../../../app/plan/expand.ts';
import { planOf } from './journal.test-helper.ts';
import { sheetsOf } from './sheets.ts';
import { afterKey, atStart, nextOf, placeOf, pointAt, visible, within } from './walk.ts';
import type { GridSelection } from './walk.ts';

const plan = planOf();
const sheet = sheetsOf(plan, expandPlan(plan))[0];
if (sheet === undefined) throw new Error('The plan gives no sheet.');

function press(selection: GridSelection, key: string, held: { readonly shift?: boolean; readonly ctrl?: boolean } = {}): GridSelection {
  const next = sheet === undefined ? null : afterKey(sheet, selection, { key, shift: held.shift ?? false, ctrl: held.ctrl ?? false }, 3);
  if (next === null) throw new Error(`${key} is not a key of the grid.`);
  return next;
}

// The keys are those of the grid pattern in the WAI-ARIA Authoring Practices Guide (W3C).
describe('walking over a sheet by keyboard', () => {
  it('moves by arrows and stays inside', () => {
    const there = press(press(atStart, 'ArrowRight'), 'ArrowDown');
    expect(there.focus).toEqual({ row: 1, column: 1 });
    expect(press(press(atStart, 'ArrowLeft'), 'ArrowUp').focus).toEqual({ row: 0, column: 0 });
    expect(press(press(atStart, 'End', { ctrl: true }), 'ArrowDown').focus).toEqual({ row: 3, column: 5 });
  });

  it('goes far by Home, End and pages', () => {
    const there = press(press(atStart, 'PageDown'), 'End');
    expect(there.focus).toEqual({ row: 3, column: 5 });
    expect(press(there, 'Home').focus).toEqual({ row: 3, column: 0 });
    expect(press(there, 'Home', { ctrl: true }).focus).toEqual({ row: 0, column: 0 });
  });

  it('selects by Space and takes it back by Space', () => {
    const once = press(atStart, ' ');
    expect([...once.selected]).toEqual([pointAt(sheet, { row: 0, column: 0 })]);
    expect(press(once, ' ').selected.size).toBe(0);
  });

  it('extends a block from where it began, and makes it smaller again', () => {
    const grown = ['ArrowRight', 'ArrowRight', 'ArrowDown'].reduce((selection, key) => press(selection, key, { shift: true }), atStart);
    expect(grown.selected.size).toBe(6);
    expect(press(grown, 'ArrowLeft', { shift: true }).selected.size).toBe(4);
  });

  it('moving alone keeps what is selected', () => {
    expect(press(press(atStart, ' '), 'ArrowDown').selected.size).toBe(1);
  });

  it('selects the whole sheet by Ctrl+A and nothing by Escape', () => {
    const all = press(atStart, 'a', { ctrl: true });
    expect(all.selected.size).toBe(sheet.points.length);
    expect(press(all, 'Escape').selected.size).toBe(0);
  });

  it('leaves other keys to others', () => {
    expect(afterKey(sheet, atStart, { key: 'Tab', shift: false, ctrl: false }, 3)).toBeNull();
    expect(afterKey(sheet, atStart, { key: 'a', shift: false, ctrl: false }, 3)).toBeNull();
  });

  it('finds the place of a point, and the nearest place on a smaller sheet', () => {
    const point = pointAt(sheet, { row: 2, column: 4 });
    expect(point === null ? null : placeOf(sheet, point)).toEqual({ row: 2, column: 4 });
    expect(within(sheet, { row: 40, column: 40 })).toEqual({ row: 3, column: 5 });
  });
});

describe('the next of some points', () => {
  it('WIN-20 lies along the rows, then on the next sheet, and round again', () => {
    const sheets = [sheet, { ...sheet, key: 'second', rows: sheet.rows.map((row) => ({ ...row, points: row.points.map((point) => (point === null ? null : point + 1000)) })) }];
    const at = (row: number, column: number): number => pointAt(sheet, { row, column }) ?? -1;
    const wanted = new Set([at(0, 2), at(3, 0), at(1, 1) + 1000]);
    const walked: string[] = [];
    let [here, place] = [sheet, { row: 0, column: 0 }];
    for (let i = 0; i < 4; i += 1) {
      const next = nextOf(sheets, here, place, wanted);
      if (next === null) throw new Error('There is none.');
      ({ sheet: here, place } = next);
      walked.push(`${here.key === 'second' ? 'second' : 'first'} ${place.row} ${place.column}`);
    }
    expect(walked).toEqual(['first 0 2', 'first 3 0', 'second 1 1', 'first 0 2']);
    expect(nextOf(sheets, sheet, { row: 0, column: 0 }, new Set())).toBeNull();
    // The only one is its own next.
    expect(nextOf(sheets, sheet, { row: 3, column: 0 }, new Set([at(3, 0)]))?.place).toEqual({ row: 3, column: 0 });
  });
});

describe('what is drawn', () => {
  it('is what can be seen and a margin, within what there is', () => {
    expect(visible(0, 280, 28, 1000, 4)).toEqual({ from: 0, to: 14 });
    expect(visible(2800, 280, 28, 1000, 4)).toEqual({ from: 96, to: 114 });
    expect(visible(27_900, 280, 28, 1000, 4)).toEqual({ from: 992, to: 1000 });
    expect(visible(0, 280, 28, 3, 4)).toEqual({ from: 0, to: 3 });
  });
});
