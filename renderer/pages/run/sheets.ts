/**
 * The points of a plan laid out as sheets to look at: one sheet for each pressure (and period), with a row for each
 * injector and voltage and a column for each width and replicate; static flow and reference points have sheets of their own.
 */
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { toKilopascals, toMilliseconds } from '../../../app/quantities/quantity.ts';

export interface SheetRow {
  /** What the row has in common with its neighbours: an injector. */
  readonly group: string;
  readonly label: string;
  /** Index of the point in each column; null: the plan has none there. */
  readonly points: readonly (number | null)[];
}

export interface Sheet {
  readonly key: string;
  readonly label: string;
  /** What its columns are: `Pulse width, ms`. */
  readonly columnTitle: string;
  readonly columnGroups: readonly { readonly label: string; readonly span: number }[];
  /** Under each group; empty where a group has one column. */
  readonly columns: readonly string[];
  readonly rows: readonly SheetRow[];
  readonly points: readonly number[];
}

/** Numbers of a plan as they were written, without the last bits of a conversion. */
export const plainNumber = (value: number): string => String(Number(value.toPrecision(10)));

const ms = (point: Point, what: 'width' | 'period') => Number(toMilliseconds(point[what]).toPrecision(10));
const kpa = (point: Point) => Number(toKilopascals(point.pressure).toPrecision(10));

const referenceColumns = 12;

/** `points` is the expansion of the plan. */
export function sheetsOf(plan: Plan, points: readonly Point[]): readonly Sheet[] {
  const { voltageV, pressureKpa, widthMs, periodMs, replicates } = plan.axes;
  const place = (values: readonly number[]) => new Map(values.map((value, index) => [Number(value.toPrecision(10)), index]));
  const [voltages, pressures, widths, periods] = [voltageV, pressureKpa, widthMs, periodMs].map((values) => place(values.toSorted((a, b) => a - b)));
  if (voltages === undefined || pressures === undefined || widths === undefined || periods === undefined) return [];

  const columns = widths.size * replicates;
  const cells = Array.from({ length: pressures.size * periods.size }, () =>
    Array.from({ length: plan.injectors.length * voltages.size }, () => new Array<number | null>(columns).fill(null)),
  );
  const inSheet = cells.map((): number[] => []);
  const references: number[] = [];
  const held: Point[] = [];
  for (const point of points) {
    if (point.role === 'reference') {
      references.push(point.index);
      continue;
    }
    if (point.role === 'static') {
      held.push(point);
      continue;
    }
    const sheet = (pressures.get(kpa(point)) ?? 0) * periods.size + (periods.get(ms(point, 'period')) ?? 0);
    const row = point.injector * voltages.size + (voltages.get(Number(point.voltage.toPrecision(10))) ?? 0);
    const column = (widths.get(ms(point, 'width')) ?? 0) * replicates + point.replicate;
    const line = cells[sheet]?.[row];
    if (line !== undefined) line[column] = point.index;
    inSheet[sheet]?.push(point.index);
  }

  const sheets: Sheet[] = [];
  for (const [pressure, p] of pressures)
    for (const [period, q] of periods) {
      const index = p * periods.size + q;
      sheets.push({
        key: `${pressure}/${period}`,
        label: periods.size > 1 ? `${plainNumber(pressure)} kPa, period ${plainNumber(period)} ms` : `${plainNumber(pressure)} kPa`,
        columnTitle: replicates > 1 ? 'Pulse width, ms, and replicate' : 'Pulse width, ms',
        columnGroups: [...widths.keys()].map((width) => ({ label: plainNumber(width), span: replicates })),
        columns: replicates > 1 ? Array.from({ length: columns }, (_, column) => String((column % replicates) + 1)) : [],
        rows: plan.injectors.flatMap((injector, i) =>
          [...voltages.keys()].map((voltage, v) => ({
            group: injector.serialNumber,
            label: `${plainNumber(voltage)} V`,
            points: cells[index]?.[i * (voltages.size) + v] ?? [],
          })),
        ),
        points: inSheet[index] ?? [],
      });
    }
  if (held.length > 0) sheets.push(staticSheet(plan, held));
  if (references.length > 0) sheets.push(referenceSheet(plan, references));
  return sheets;
}

/** Static flow: a row for each injector and pressure, a column for each replicate. */
function staticSheet(plan: Plan, held: readonly Point[]): Sheet {
  const { replicates } = plan.static;
  const rows = new Map<string, { readonly group: string; readonly label: string; readonly points: (number | null)[] }>();
  for (const point of held.toSorted((a, b) => a.injector - b.injector || a.pressure - b.pressure)) {
    const key = `${point.injector}/${kpa(point)}`;
    const row = rows.get(key) ?? { group: plan.injectors[point.injector]?.serialNumber ?? '', label: `${plainNumber(kpa(point))} kPa`, points: new Array<number | null>(replicates).fill(null) };
    row.points[point.replicate] = point.index;
    rows.set(key, row);
  }
  return {
    key: 'static',
    label: 'Static flow, held open',
    columnTitle: 'Replicate',
    columnGroups: Array.from({ length: replicates }, (_, column) => ({ label: String(column + 1), span: 1 })),
    columns: [],
    rows: [...rows.values()],
    points: held.map((point) => point.index),
  };
}

function referenceSheet(plan: Plan, references: readonly number[]): Sheet {
  const width = Math.min(referenceColumns, references.length);
  const rows: SheetRow[] = [];
  for (let from = 0; from < references.length; from += width) {
    const line = references.slice(from, from + width);
    rows.push({
      group: plan.reference?.injector ?? '',
      label: `${from + 1} to ${from + line.length}`,
      points: Array.from({ length: width }, (_, column) => line[column] ?? null),
    });
  }
  return {
    key: 'reference',
    label: 'Reference points',
    columnTitle: 'In the order in which they are measured',
    columnGroups: Array.from({ length: width }, (_, column) => ({ label: `+${column}`, span: 1 })),
    columns: [],
    rows,
    points: references,
  };
}

/** The point in words: what a screen reader says and a heading shows. */
export function pointWords(plan: Plan, point: Point, replicates = plan.axes.replicates): string {
  const serial = plan.injectors[point.injector]?.serialNumber ?? `channel ${point.channel}`;
  const parts = [serial, `${plainNumber(point.voltage)} V`, `${plainNumber(ms(point, 'width'))} ms`, `${plainNumber(kpa(point))} kPa`];
  if (plan.axes.periodMs.length > 1) parts.push(`period ${plainNumber(ms(point, 'period'))} ms`);
  if (point.role === 'reference') parts.push(`reference point ${point.replicate + 1}`);
  else if (point.role === 'static') parts.push(`held open, replicate ${point.replicate + 1} of ${plan.static.replicates}`);
  else if (replicates > 1) parts.push(`replicate ${point.replicate + 1} of ${replicates}`);
  return parts.join(', ');
}
