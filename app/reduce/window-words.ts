/** Windows that count for less than their repeats, in sentences that say what it means and what to do (RED-81). For window and terminal. */
import { shownPoint } from '../plan/points.ts';
import type { LightWindow } from './reduction.ts';

/** So many are named one by one; the rest are counted. */
const named = 12;

function off({ mass, expected }: LightWindow): string {
  const percent = 100 * (mass / expected - 1);
  return `${percent < 0 ? '' : '+'}${percent.toFixed(Math.abs(percent) < 1 ? 2 : 1)} %`;
}

/** Empty: every window counts as much as its repeats. */
export function lightWindowSentences(windows: readonly LightWindow[]): readonly string[] {
  if (windows.length === 0) return [];
  const list = (some: readonly LightWindow[]): string =>
    `${some.slice(0, named).map((w) => `${shownPoint(w.point)} (${off(w)})`).join(', ')}${some.length > named ? ` and ${some.length - named} more` : ''}`;
  const [pairs, single] = [windows.filter((w) => w.against === 'pair'), windows.filter((w) => w.against !== 'pair')];
  const [one] = single;
  return [
    ...(one === undefined
      ? []
      : single.length === 1
        ? [`The window of point ${list(single)} lies so far from ${one.against === 'line' ? 'the line through the others' : 'its repeats'} that it counts for less than half, or not at all.`]
        : [`${single.length} windows lie so far from their repeats (or from the line, where a width was measured once) that they count for less than half, or not at all: points ${list(single)}.`]),
    ...(pairs.length === 0 ? [] : [`Of the repeats of ${pairs.length / 2} ${pairs.length === 2 ? 'width' : 'widths'} the two contradict each other, and nothing here says which is wrong: points ${list(pairs)}.`]),
    'They are kept, and no result depends on them by more than it says. Look at their readings; measure the points again (measure-again), which tells for sure.',
  ];
}
