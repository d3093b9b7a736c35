/**
 * Every key that does something, as it is shown behind `?` (WIN-52). A test holds the list against the source: a key that is heard and does not stand
 * here fails it, and so does one that stands here and is not heard.
 */
import { pages } from '../pages/index.ts';

/** 'everywhere', 'tables', 'fields', or the path of a page. */
type KeyPlace = 'everywhere' | 'tables' | 'fields' | (string & {});

export interface KeyRow {
  readonly where: KeyPlace;
  /** As a person reads it. */
  readonly keys: string;
  readonly does: string;
  /** The file under renderer/ that hears it, and as which names it does so there. */
  readonly file: string;
  readonly heard: readonly string[];
}

const arrows = ['ArrowUp', 'ArrowDown', 'ArrowLeft', 'ArrowRight'] as const;

export const keyRows: readonly KeyRow[] = [
  { where: 'everywhere', keys: 'F9', does: 'STOP: pulses off, supply to its safe value, disarmed. Without a question, on every page.', file: 'frame/stop.tsx', heard: ['F9'] },
  { where: 'everywhere', keys: '? or F1', does: 'Help for this page, and this list', file: 'frame/help.tsx', heard: ['?', 'F1'] },
  { where: 'everywhere', keys: '/ or Ctrl+K', does: 'Search everywhere', file: 'frame/search.tsx', heard: ['/', '$mod+KeyK'] },
  ...pages.map(({ key, title }): KeyRow => ({ where: 'everywhere', keys: `Alt+${key.replace('Key', '')}`, does: `Page ${title}`, file: 'pages/index.ts', heard: [key] })),
  { where: 'everywhere', keys: 'Esc', does: 'Closes a dialog, or leaves a question without doing anything', file: 'components/dialog.tsx', heard: ['Escape'] },
  { where: 'fields', keys: 'Up, Down', does: 'A step more or less, in a field of numbers', file: 'components/field.tsx', heard: ['ArrowUp', 'ArrowDown'] },
  { where: 'fields', keys: 'Enter', does: 'What the button beside the field does', file: 'components/field.tsx', heard: ['Enter'] },
  { where: 'fields', keys: 'Ctrl+S', does: 'Saves, on Plans and Injectors', file: 'components/save-key.ts', heard: ['s'] },
  { where: 'tables', keys: 'Up, Down, Page Up, Page Down, Home, End', does: 'Another row', file: 'components/data-table.tsx', heard: ['ArrowUp', 'ArrowDown', 'PageUp', 'PageDown', 'Home', 'End'] },
  { where: 'tables', keys: 'Enter or Space', does: 'Opens the row', file: 'components/data-table.tsx', heard: ['Enter', ' '] },
  { where: 'everywhere', keys: 'Down, Up, Enter', does: 'In the search: another result, and there', file: 'frame/search.tsx', heard: ['ArrowDown', 'ArrowUp', 'Enter'] },

  { where: 'injectors', keys: 'Enter', does: 'The row below, or a new one', file: 'pages/injectors/page.tsx', heard: ['Enter'] },
  { where: 'injectors', keys: 'Shift+Enter, Up, Down', does: 'The row above or below', file: 'pages/injectors/page.tsx', heard: ['ArrowUp', 'ArrowDown'] },
  { where: 'injectors', keys: 'Esc', does: 'Takes back what was typed in this field', file: 'pages/injectors/page.tsx', heard: ['Escape'] },

  { where: 'plans', keys: 'Up, Down', does: 'Another row of injectors, types and guards, in the same column; Tab leaves the list', file: 'components/one-stop.ts', heard: ['ArrowUp', 'ArrowDown'] },
  { where: 'plans', keys: 'Enter', does: 'Adds the values that were typed to the axis; with Ctrl in the text field of all values', file: 'pages/plans/axis-field.tsx', heard: ['Enter'] },
  { where: 'plans', keys: 'Arrows, Home, End', does: 'Another value of an axis', file: 'pages/plans/axis-field.tsx', heard: [...arrows, 'Home', 'End'] },
  { where: 'plans', keys: 'Delete, Backspace', does: 'Takes a value out of the axis', file: 'pages/plans/axis-field.tsx', heard: ['Delete', 'Backspace'] },
  { where: 'plans', keys: 'Esc', does: 'Empties the field of new values', file: 'pages/plans/axis-field.tsx', heard: ['Escape'] },
  { where: 'plans', keys: 'Arrows, Page Up, Page Down, Home, End', does: 'Another point of the chart', file: 'pages/plans/points-chart.tsx', heard: [...arrows, 'PageUp', 'PageDown', 'Home', 'End'] },

  { where: 'run', keys: 'Alt+G', does: 'Start, or resume', file: 'pages/run/commands.ts', heard: ['G'] },
  { where: 'run', keys: 'Alt+N', does: 'Pause after this point', file: 'pages/run/commands.ts', heard: ['N'] },
  { where: 'run', keys: 'Alt+S', does: 'Pause now', file: 'pages/run/commands.ts', heard: ['S'] },
  { where: 'run', keys: 'Alt+W', does: 'Skip this wait', file: 'pages/run/commands.ts', heard: ['W'] },
  { where: 'run', keys: 'Alt+L', does: 'Finish early', file: 'pages/run/commands.ts', heard: ['L'] },
  { where: 'run', keys: 'Alt+K', does: 'Acknowledge', file: 'pages/run/commands.ts', heard: ['K'] },
  { where: 'run', keys: 'Alt+X', does: 'Abort', file: 'pages/run/commands.ts', heard: ['X'] },
  { where: 'run', keys: 'Alt+F, Alt+M', does: 'Select all failed points; measure the selected ones again', file: 'pages/run/use-work.ts', heard: ['Alt+KeyF', 'Alt+KeyM'] },
  { where: 'run', keys: 'F, N, M', does: 'In the grid: select all failed, the next failed point, measure again', file: 'pages/run/use-work.ts', heard: ['f', 'n', 'm'] },
  { where: 'run', keys: 'Arrows, Home, End, Page Up, Page Down', does: 'In the grid: another point; with Shift a block is selected, with Ctrl to the corner', file: 'pages/run/walk.ts', heard: [...arrows, 'Home', 'End', 'PageUp', 'PageDown'] },
  { where: 'run', keys: 'Space, Ctrl+A, Esc', does: 'In the grid: select the point, the whole sheet, nothing', file: 'pages/run/walk.ts', heard: [' ', 'a', 'Escape'] },
  { where: 'run', keys: 'Enter', does: 'In the grid: open the point', file: 'pages/run/point-grid.tsx', heard: ['Enter', 'a'] },
  { where: 'run', keys: 'Left, Right, Home, End', does: 'In a film: ten seconds before or after, with Shift a minute; its beginning, its end', file: 'pages/run/film-bar.tsx', heard: [...arrows, 'Home', 'End'] },
  { where: 'run', keys: 'Page Up, Page Down', does: 'In a film: the attempt before, the next attempt', file: 'pages/run/film-bar.tsx', heard: ['PageUp', 'PageDown'] },
  { where: 'run', keys: 'Space, I', does: 'In a film: play or stand still; the next incident, with Shift the one before', file: 'pages/run/film-bar.tsx', heard: [' ', 'i'] },
  { where: 'run', keys: 'Esc', does: 'Back from the point to the grid', file: 'pages/run/point-panel.tsx', heard: ['Escape'] },

  { where: 'results', keys: 'Esc', does: 'Closes an attempt, or its question', file: 'pages/results/attempt-details.tsx', heard: ['Escape'] },

  { where: 'journal', keys: 'Left, Right, Home, End', does: 'In the readings: moves the cursor; with Shift the stretch', file: 'pages/journal/strips-part.tsx', heard: ['ArrowLeft', 'ArrowRight', 'Home', 'End'] },
  { where: 'journal', keys: 'Page Up, Page Down', does: 'In the readings: the stretch before or after', file: 'pages/journal/strips-part.tsx', heard: ['PageUp', 'PageDown'] },
  { where: 'journal', keys: '+, −, 0', does: 'In the readings: closer, farther, the whole run', file: 'pages/journal/strips-part.tsx', heard: ['+', '-', '0'] },
];
