/**
 * The points of a plan laid out as sheets to look at: one sheet for each pressure (and period), with a row for each
 * injector and voltage and a column for each width and replicate; static flow, period pairs, reference points and zero points have sheets of their own.
 */
import { decimals } from '../../components/decimals.ts';
import { quantityText } from '../../settings/quantities.ts';
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
  /** Where there is little room. */
  readonly short: string;
  /** What the labels of its rows are. */
  readonly rowTitle: string;
  /** What its columns are: `Pulse width, ms`. */
  readonly columnTitle: string;
  readonly columnGroups: readonly { readonly label: string; readonly span: number }[];
  /** Under each group; empty where a group has one column. */
  readonly columns: readonly string[];
  readonly rows: readonly SheetRow[];
  readonly points: readonly number[];
}

/** Numbers of a plan as they were written, without the last bits of a conversion. */
export const plainNumber = (value: number): string => decimals(String(Number(value.toPrecision(10))));

const ms = (point: Point, what: 'width' | 'period') => Number(toMilliseconds(point[what]).toPrecision(10));
const kpa = (point: Point) => Number(toKilopascals(point.pressure).toPrecision(10));

const sequenceColumns = 12;

/** `points` is the expansion of the plan. */
// eslint-disable-next-line complexity -- a line for each thing that a sheet may show
export function sheetsOf(plan: Plan, points: readonly Point[]): readonly Sheet[] {
  const { voltageV, pressureKpa, widthMs, periodMs } = plan.axes;
  // A plan with targets has as many windows of a width as it needs: there is a column for each window that a cell may have, in the order in which they were added (WIN-23).
  const { targets } = plan;
  const replicates = targets === undefined ? plan.axes.replicates : 1;
  const place = (values: readonly number[]) => new Map(values.map((value, index) => [Number(value.toPrecision(10)), index]));
  const [voltages, pressures, widths, periods] = [voltageV, pressureKpa, widthMs, periodMs].map((values) => place(values.toSorted((a, b) => a - b)));
  if (voltages === undefined || pressures === undefined || widths === undefined || periods === undefined) return [];

  const columns = targets?.attemptsPerCell ?? widths.size * replicates;
  const cells = Array.from({ length: pressures.size * periods.size }, () =>
    Array.from({ length: plan.injectors.length * voltages.size }, () => new Array<number | null>(columns).fill(null)),
  );
  const inSheet = cells.map((): number[] => []);
  const references: Point[] = [];
  const held: Point[] = [];
  const pairs: Point[] = [];
  const set: Point[] = [];
  const blind: Point[] = [];
  const zeros: Point[] = [];
  const looks: Point[] = [];
  const own: Readonly<Partial<Record<Point['role'], Point[]>>> = { reference: references, static: held, pair: pairs, invariance: set, blind, zero: zeros, look: looks };
  for (const point of points) {
    const list = own[point.role];
    if (list !== undefined) {
      list.push(point);
      continue;
    }
    const sheet = (pressures.get(kpa(point)) ?? 0) * periods.size + (periods.get(ms(point, 'period')) ?? 0);
    const row = point.injector * voltages.size + (voltages.get(Number(point.voltage.toPrecision(10))) ?? 0);
    const line = cells[sheet]?.[row];
    const column = targets === undefined ? (widths.get(ms(point, 'width')) ?? 0) * replicates + point.replicate : (line?.indexOf(null) ?? 0);
    if (line !== undefined && column >= 0) line[column] = point.index;
    inSheet[sheet]?.push(point.index);
  }

  const sheets: Sheet[] = [];
  for (const [pressure, p] of pressures)
    for (const [period, q] of periods) {
      const index = p * periods.size + q;
      sheets.push({
        key: `${pressure}/${period}`,
        label: periods.size > 1 ? `${quantityText(pressure, 'kPa')}, period ${plainNumber(period)} ms` : quantityText(pressure, 'kPa'),
        short: periods.size > 1 ? `${quantityText(pressure, 'kPa')}, ${plainNumber(period)} ms` : quantityText(pressure, 'kPa'),
        rowTitle: 'Supply',
        columnTitle: targets !== undefined ? 'Windows of a cell, in the order in which they were added' : replicates > 1 ? 'Pulse width, ms, and replicate' : 'Pulse width, ms',
        columnGroups: (targets === undefined ? [...widths.keys()] : Array.from({ length: columns }, (_, column) => column + 1)).map((label) => ({ label: plainNumber(label), span: replicates })),
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
  if (looks.length > 0) sheets.push({ ...replicateSheet(plan, looks, 'look', 'First look', lookColumns.length), columnTitle: '', columnGroups: lookColumns.map((label) => ({ label, span: 1 })) });
  if (held.length > 0) sheets.push(replicateSheet(plan, held, 'static', 'Static flow, held open', plan.static.replicates));
  if (pairs.length > 0) sheets.push(replicateSheet(plan, pairs, 'pair', 'Period pairs, at twice the period', plan.pair.windows));
  if (set.length > 0) sheets.push(sequenceSheet(set, 'invariance', 'Invariance set, with one condition changed', 'All injectors'));
  if (blind.length > 0) sheets.push(sequenceSheet(blind, 'blind', 'Blind windows, widths shifted in secret', 'All injectors'));
  if (references.length > 0) sheets.push(sequenceSheet(references, 'reference', 'Reference points', plan.reference?.injector ?? ''));
  if (zeros.length > 0) sheets.push(sequenceSheet(zeros, 'zero', 'Zero flow, all injectors shut', 'All shut'));
  return sheets;
}

/** By the replicate of a look point (PLAN-50). */
const lookColumns = ['held open', 'shorter', 'longer'];

/** A row for each injector and pressure, a column for each replicate. */
function replicateSheet(plan: Plan, held: readonly Point[], key: string, label: string, replicates: number): Sheet {
  const rows = new Map<string, { readonly group: string; readonly label: string; readonly points: (number | null)[] }>();
  for (const point of held.toSorted((a, b) => a.injector - b.injector || a.pressure - b.pressure)) {
    const place = `${point.injector}/${kpa(point)}`;
    const row = rows.get(place) ?? { group: plan.injectors[point.injector]?.serialNumber ?? '', label: quantityText(kpa(point), 'kPa'), points: new Array<number | null>(replicates).fill(null) };
    row.points[point.replicate] = point.index;
    rows.set(place, row);
  }
  return {
    key,
    label,
    short: label.replace(/,.*/u, ''),
    rowTitle: 'Pressure',
    columnTitle: 'Replicate',
    columnGroups: Array.from({ length: replicates }, (_, column) => ({ label: String(column + 1), span: 1 })),
    columns: [],
    rows: [...rows.values()],
    points: held.map((point) => point.index),
  };
}

/** Points that come again and again through the run, in their order. */
function sequenceSheet(points: readonly Point[], key: string, label: string, group: string): Sheet {
  const width = Math.min(sequenceColumns, points.length);
  const rows: SheetRow[] = [];
  for (let from = 0; from < points.length; from += width) {
    const line = points.slice(from, from + width);
    rows.push({
      group,
      label: `${from + 1} to ${from + line.length}`,
      points: Array.from({ length: width }, (_, column) => line[column]?.index ?? null),
    });
  }
  return {
    key,
    label,
    short: label.replace(/,.*/u, ''),
    rowTitle: 'Number',
    columnTitle: 'In the order in which they are measured',
    columnGroups: Array.from({ length: width }, (_, column) => ({ label: `+${column}`, span: 1 })),
    columns: [],
    rows,
    points: points.map((point) => point.index),
  };
}

/** The point in words: what a screen reader says and a heading shows. */
export function pointWords(plan: Plan, point: Point, replicates = plan.axes.replicates): string {
  if (point.role === 'zero') return `zero point ${point.replicate + 1}, all injectors shut, ${plainNumber(point.voltage)} V, ${quantityText(kpa(point), 'kPa')}`;
  const serial = plan.injectors[point.injector]?.serialNumber ?? `channel ${point.channel}`;
  const parts = [serial, `${plainNumber(point.voltage)} V`, `${plainNumber(ms(point, 'width'))} ms`, quantityText(kpa(point), 'kPa')];
  if (plan.axes.periodMs.length > 1 || point.role === 'pair' || point.changed === 'period' || point.changed === 'long-period') parts.push(`period ${plainNumber(ms(point, 'period'))} ms`);
  if (point.role === 'reference') parts.push(`reference point ${point.replicate + 1}`);
  else if (point.role === 'static') parts.push(`held open, replicate ${point.replicate + 1} of ${plan.static.replicates}`);
  else if (point.role === 'look') parts.push(`first look, ${lookColumns[point.replicate] ?? ''}`);
  else if (point.role === 'pair') parts.push(`period pair ${point.replicate + 1} of ${plan.pair.windows}`);
  else if (point.role === 'invariance') parts.push(`invariance set, ${nuisanceWords(point.changed)}`);
  else if (point.role === 'blind') parts.push(`blind window ${point.replicate + 1}, width shifted by a secret`);
  else if (replicates > 1) parts.push(`replicate ${point.replicate + 1} of ${replicates}`);
  return parts.join(', ');
}

function nuisanceWords(changed: Point['changed']): string {
  switch (changed) {
    case 'time':
      return 'measured again at the end';
    case 'period':
    case 'long-period':
      return 'at twice the period';
    case 'pressure-up':
      return 'at more pressure';
    case 'pressure-down':
      return 'at less pressure';
    case undefined:
      return '';
  }
}
