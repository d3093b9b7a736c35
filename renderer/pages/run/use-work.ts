/** What a person looks at, marks and does among the points of a run: one state for the grid, its buttons and the panel of a point. */
import { useCallback, useEffect, useMemo, useRef, useState } from 'react';
import type { RunState } from '../../../app/journal/state.ts';
import type { Point } from '../../../app/plan/points.ts';
import { onWindowKeys } from '../../components/keys.ts';
import { useTyped } from '../../typed/typed.ts';
import { rejectedPoints } from './cells.ts';
import { sheetsOf } from './sheets.ts';
import type { Sheet } from './sheets.ts';
import type { RunCommands } from './use-commands.ts';
import { atStart, nextOf, placeOf, pointAt, within } from './walk.ts';
import type { GridPlace, GridSelection } from './walk.ts';
import { plural } from '../../components/plural.ts';

export interface Work {
  readonly sheets: readonly Sheet[];
  readonly sheet: Sheet | undefined;
  /** Whether the sheet of the point that is being measured is shown, whichever it is: not while a person is in the grid or has a point open (WIN-111). */
  readonly following: boolean;
  /** null: the one of the point that is being measured. */
  readonly chooseSheet: (key: string | null) => void;
  /** Whether the focus is in the grid. */
  readonly setInGrid: (inside: boolean) => void;
  readonly selection: GridSelection;
  readonly select: (selection: GridSelection) => void;
  /** The point that a person opened; null: the panel follows the run. */
  readonly opened: number | null;
  readonly open: (point: number, byKey: boolean) => void;
  /** Opens a point that a link names, on its sheet. */
  readonly openNamed: (point: number) => void;
  readonly shownPoint: Point | undefined;
  readonly failed: readonly number[];
  readonly marked: readonly number[];
  readonly clear: () => void;
  readonly selectFailed: () => void;
  readonly nextFailed: () => void;
  readonly measureAgain: (points: readonly number[]) => void;
  readonly leaveOut: () => void;
  readonly follow: () => void;
  readonly leavePanel: () => void;
  /** To a place on a sheet, with the focus. */
  readonly goTo: (sheet: Sheet, place: GridPlace) => void;
  /** A key of the grid that does something to the run or goes on to the next failed point. */
  readonly onKey: (key: string) => boolean;
  /** These change when the focus is to go to the grid, or to the panel. */
  readonly gridFocus: number;
  readonly panelFocus: number;
}

// eslint-disable-next-line max-lines-per-function -- one state, and what may be done with it
export function useWork(state: RunState, latestPoint: number | null, commands: RunCommands): Work {
  const { plan, setPoints: points, current } = state;
  const sheets = useMemo(() => sheetsOf(plan, points), [plan, points]);
  const [chosenSheet, setChosenSheet] = useState<string | null>(null);
  const [kept, keepMarked] = useTyped<readonly number[]>(`run/marked/${commands.id}`, [], { title: 'Marked points' });
  const [selection, select] = useState<GridSelection>(() => ({ ...atStart, selected: new Set(kept.filter((point) => points[point] !== undefined)) }));
  // What is marked outlives a reload (WIN-116).
  const isFirst = useRef(true);
  useEffect(() => {
    if (!isFirst.current) keepMarked([...selection.selected]);
    isFirst.current = false;
  }, [selection.selected, keepMarked]);
  const [opened, setOpened] = useState<number | null>(null);
  const [inGrid, setInGrid] = useState(false);
  const [gridFocus, setGridFocus] = useState(0);
  const [panelFocus, setPanelFocus] = useState(0);
  const focusGrid = useCallback(() => setGridFocus((n) => n + 1), []);

  const runningSheet = sheets.find((sheet) => current !== null && sheet.points.includes(current.point));
  const [lastSheet, setLastSheet] = useState<string | null>(null);
  // A sheet that a person works on is not changed under hand or eye (WIN-111).
  const stays = inGrid || opened !== null;
  if (!stays && runningSheet !== undefined && runningSheet.key !== 'reference' && runningSheet.key !== lastSheet) setLastSheet(runningSheet.key);
  const sheet = sheets.find((one) => one.key === (chosenSheet ?? lastSheet)) ?? sheets[0];
  const failed = useMemo(() => rejectedPoints(state), [state]);
  // Where the grid shows the focus: this sheet may be smaller than the one on which the person was.
  const underFocus = sheet === undefined ? null : pointAt(sheet, within(sheet, selection.focus));
  const shownPoint = points[opened ?? current?.point ?? latestPoint ?? underFocus ?? 0];
  const shownIndex = shownPoint?.index ?? -1;
  const marked = useMemo(() => [...selection.selected], [selection]);

  const goTo = useCallback(
    (to: Sheet, place: GridPlace) => {
      if (to !== sheet) setChosenSheet(to.key);
      select((old) => ({ ...old, focus: place, anchor: place }));
      focusGrid();
    },
    [sheet, focusGrid],
  );
  const clear = useCallback(() => {
    select((old) => ({ ...old, selected: new Set() }));
    focusGrid();
  }, [focusGrid]);
  const selectFailed = useCallback(() => {
    const first = failed[0];
    const target = sheets.find((one) => one.points.some((point) => failed.includes(point)));
    if (first === undefined || target === undefined) {
      commands.refuse('points', 'Select all failed', 'No point has failed, so there is nothing to select.');
      return;
    }
    const here = sheet?.points.some((point) => failed.includes(point)) === true ? sheet : target;
    const place = placeOf(here, failed.find((point) => here.points.includes(point)) ?? first) ?? { row: 0, column: 0 };
    goTo(here, place);
    select((old) => ({ ...old, selected: new Set(failed) }));
  }, [failed, sheets, sheet, commands, goTo]);
  const nextFailed = useCallback(() => {
    const next = sheet === undefined ? null : nextOf(sheets, sheet, selection.focus, new Set(failed));
    const point = next?.sheet.rows[next.place.row]?.points[next.place.column];
    if (next === null || point == null) {
      commands.refuse('points', 'Next failed', 'No point has failed.');
      return;
    }
    goTo(next.sheet, next.place);
    setOpened(point);
  }, [failed, sheets, sheet, selection, commands, goTo]);
  const measureAgain = useCallback(
    (indices: readonly number[]) => {
      const label = `Measure ${plural(indices.length, 'point')} again`;
      if (commands.against !== '') commands.refuse('points', label, commands.against);
      else if (indices.length === 0) commands.refuse('points', 'Measure again', 'No point is selected. Select points with Space, or all failed ones with F.');
      else {
        void commands.send('points', label, [{ kind: 'measure-again', points: [...indices].sort((a, b) => a - b) }]).then((accepted) => {
          if (accepted) clear();
        });
      }
    },
    [commands, clear],
  );
  const leaveOut = useCallback(() => {
    const wanted = marked.filter((index) => {
      const record = state.points.at(index);
      return record?.skipped === null && record.chosen === null;
    });
    if (wanted.length === 0) commands.refuse('points', 'Leave out', 'Every selected point is left out already or has an attempt that counts.');
    else void commands.send('points', `Leave ${plural(wanted.length, 'point')} out`, wanted.map((point) => ({ kind: 'skip-point', point })));
  }, [marked, state, commands]);
  const chooseSheet = useCallback((key: string | null) => {
    setChosenSheet(key);
    if (key === null) setOpened(null);
  }, []);
  const follow = useCallback(() => setOpened(null), []);
  const open = useCallback((point: number, byKey: boolean) => {
    setOpened(point);
    // The pointer leaves the focus in the grid, whose keys go on from the cell that was pointed at.
    if (byKey) setPanelFocus((n) => n + 1);
  }, []);
  const openNamed = useCallback(
    (point: number) => {
      const on = sheets.find((one) => one.points.includes(point));
      const place = on === undefined ? null : placeOf(on, point);
      if (on === undefined || place === null) return;
      setChosenSheet(on.key);
      select((old) => ({ ...old, focus: place, anchor: place }));
      setOpened(point);
    },
    [sheets],
  );
  const leavePanel = useCallback(() => {
    const place = sheet === undefined ? null : placeOf(sheet, shownIndex);
    if (place !== null) select((old) => ({ ...old, focus: place, anchor: place }));
    focusGrid();
  }, [sheet, shownIndex, focusGrid]);
  const onKey = useCallback(
    (key: string): boolean => {
      if (key === 'f') selectFailed();
      else if (key === 'n') nextFailed();
      else if (key === 'm') measureAgain(marked.length > 0 ? marked : underFocus === null ? [] : [underFocus]);
      else return false;
      return true;
    },
    [selectFailed, nextFailed, measureAgain, marked, underFocus],
  );

  useEffect(
    () =>
      onWindowKeys({
        'Alt+KeyF': (event: KeyboardEvent) => {
          event.preventDefault();
          selectFailed();
        },
        'Alt+KeyM': (event: KeyboardEvent) => {
          event.preventDefault();
          if (!event.repeat) measureAgain(marked);
        },
      }),
    [selectFailed, measureAgain, marked],
  );

  const following = chosenSheet === null && !stays;
  // The same as long as nothing in it changed: what is drawn from it is not drawn with every status of the run.
  return useMemo(
    () => ({
      sheets, sheet, following, chooseSheet, setInGrid, selection, select, opened, open, openNamed, shownPoint, failed, marked, clear, selectFailed, nextFailed, measureAgain, leaveOut, follow, leavePanel, goTo, onKey, gridFocus,
      panelFocus,
    }),
    [sheets, sheet, following, chooseSheet, selection, opened, open, openNamed, shownPoint, failed, marked, clear, selectFailed, nextFailed, measureAgain, leaveOut, follow, leavePanel, goTo, onKey, gridFocus, panelFocus],
  );
}
