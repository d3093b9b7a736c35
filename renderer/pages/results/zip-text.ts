/** The text that lies in the ZIP archive of a run: which run it is, what each file is for, and what people noted. EXP-7, EXP-8 */
import type { Note } from '../../../app/journal/note.ts';
import { shownPoint } from '../../../app/plan/points.ts';

export interface RunOfZip {
  readonly id: string;
  readonly order: string;
  readonly planName: string;
  readonly createdAt: number;
  readonly notes: readonly Note[];
  /** Serial numbers, in the order of the plan. */
  readonly injectors: readonly string[];
}

/** What each file of an export is for, in a sentence. */
const purposes: Readonly<Record<string, string>> = {
  'attempts.csv': 'Every attempt, rejected and cut ones too, with its limits.',
  'masses.csv': 'The windows that count: mass per pulse with its uncertainty.',
  'budgets.csv': 'The uncertainty budget of each mass, part by part.',
  'lines.csv': 'Flow curves: slope and dead time of each injector, voltage, pressure and period.',
  'leak.csv': 'Zero points: what leaked, and the pressure decay.',
  'static-flow.csv': 'Static flow of each injector and pressure.',
  'tables.csv': 'Results in long form, one value a line, for programs.',
  'maps.csv': 'Results on axes, with the basis of each value: measured, interpolated, extrapolated or estimated.',
  'curves.csv': 'Dead time over voltage as a curve, with residuals.',
  'reduction.json': 'All results with plan, equipment and provenance, for programs.',
  'manifest.json': 'Name, size and SHA-256 of every file, and the place of the run in the archive\'s history: check-export reads it.',
};

const about = ({ point, attempt, injector }: Note, injectors: readonly string[]): string => {
  if (injector !== null) return `injector ${injectors[injector] ?? injector + 1}`;
  return point === null ? 'run' : `point ${shownPoint(point)}${attempt === null ? '' : `, attempt ${attempt}`}`;
};

const marked = ({ mark, open }: Note): string => (mark === 'look' ? (open ? ' [to be looked at]' : ' [was to be looked at, settled]') : mark === 'settled' ? ' [settled]' : '');

export function zipText({ id, order, planName, createdAt, notes, injectors }: RunOfZip, names: readonly string[], software: string): string {
  const lines = [
    `Run ${id}`, `Job: ${order === '' ? '-' : order}`, `Plan: ${planName}`, `Opened: ${new Date(createdAt).toISOString()}`, `Written by: ${software}`, '',
    'Files:', ...names.map((name) => `  ${name}: ${purposes[name] ?? 'Named in manifest.json.'}`), '',
    ...(notes.length === 0 ? [] : ['Notes:', ...notes.map((note) => `  ${new Date(note.at).toISOString()} ${note.by}, ${about(note, injectors)}${marked(note)}: ${note.text}`), '']),
    'CSV is RFC 4180 in UTF-8, with a point before decimals and units in the names of the columns. The last columns of every line name run, job and archive.', '',
  ];
  return lines.join('\r\n');
}
