/** Tables for an engine controller as the page shows and copies them. TAB-22. */
import type { ControllerTable } from '../../../app/handover/document.ts';
import { gridRows } from '../../../app/handover/grid-rows.ts';
import type { ControllerLayout } from '../../../app/handover/layout.ts';
import { controllerTables } from '../../../app/handover/build.ts';
import { plainLayout, withDecimalSign } from '../../../app/handover/layout.ts';
import { figure, plain, plusMinus } from '../../../app/quantities/figures.ts';
import type { RunResults } from '../../../app/results/run-results.ts';

/** Tables of one injector alone: all of them would take the page longer than a person waits. A text: why there are none. */
/** `trialsBy`: with a Monte Carlo beside each number, by this seed. */
export function tablesOfInjector({ plan, equipment, reduction }: Pick<RunResults, 'plan' | 'equipment' | 'reduction'>, injector: number, layout: ControllerLayout, trialsBy?: string): readonly ControllerTable[] | string {
  const built = controllerTables({
    plan, equipment, layout,
    ...(trialsBy === undefined ? {} : { trialsBy }),
    reduction: { ...reduction, windows: [], cells: reduction.cells.filter((c) => c.injector === injector), staticFlows: reduction.staticFlows.filter((s) => s.injector === injector) },
  });
  return built.ok ? built.tables.filter((table) => table.of === plan.injectors[injector]?.serialNumber) : built.text;
}

/** What goes to the clipboard: rows by line, columns by tab, whatever separates them in a file; the controller's own numbers, `value` or their U. */
export function clipboardText(table: ControllerTable, { csv }: Pick<ControllerLayout, 'csv'>, of: 'value' | 'U95'): string {
  const shown = of === 'value' ? table : { ...table, cells: table.cells.map((cell) => ('value' in cell ? { ...cell, value: cell.U95 } : cell)) };
  const { headings, rows } = gridRows(shown, { csv });
  return [...(headings === null ? [] : [headings]), ...rows].map((row) => row.map((field) => (field === null ? '' : typeof field === 'number' ? withDecimalSign(String(field), { csv }) : field)).join('\t')).join('\n');
}

interface ShownGrid {
  readonly columns: readonly string[];
  readonly rows: readonly { readonly key: string; readonly head: string; readonly cells: readonly (string | { readonly why: string })[] }[];
  readonly missing: readonly { readonly where: string; readonly why: string }[];
}

/** The grid with U beside each number, always with headings. */
export const shownGrid = (table: ControllerTable): ShownGrid => gridOf(table, (cell) => {
  const value = table.resolution === null ? plusMinus(cell.value, cell.U95) : `${plain(cell.value)} ± ${figure(cell.U95, cell.U95)}`;
  return cell.basis === 'measured' ? value : `${value} (${cell.basis})`;
});

/** Intervals of the Monte Carlo in the places of the numbers; both where they are not the same. TAB-56 */
export const trialsGrid = (table: ControllerTable): ShownGrid => gridOf(table, ({ unrounded, U95, k, monteCarlo }) => {
  if (monteCarlo === undefined) return '';
  const shown = (low: number, high: number): string => `${figure(low, U95 / k)} to ${figure(high, U95 / k)}`;
  const own = shown(monteCarlo.low, monteCarlo.high);
  return monteCarlo.verdict === 'agrees' ? own : `${own} ${monteCarlo.verdict === 'differs' ? 'DIFFERS from' : 'not settled against'} ${shown(unrounded - U95, unrounded + U95)}`;
});

/** How many agree, in a sentence; null: there are no trials. */
export function trialsSentence({ cells }: ControllerTable): string | null {
  const trials = cells.flatMap((cell) => ('value' in cell && cell.monteCarlo !== undefined ? [cell.monteCarlo] : []));
  if (trials.length === 0) return null;
  const agree = trials.filter((t) => t.verdict === 'agrees').length;
  return `Monte Carlo (JCGM 101:2008, ${Math.min(...trials.map((t) => t.trials))} trials or more): ${agree} of ${trials.length} intervals of 95 % agree with value ± U within half a unit of the first digit of the standard uncertainty (clause 8).${agree === trials.length ? '' : ' Where they do not, both stand below, and that of the Monte Carlo is the better one: U takes the calculation for linear and the value for normally distributed.'}`;
}

function gridOf(table: ControllerTable, textOf: (cell: Extract<ControllerTable['cells'][number], { value: number }>) => string): ShownGrid {
  const [first, second] = table.axes;
  const across = (second ?? first)?.values.length ?? 1;
  const cellText = (i: number): string | { readonly why: string } => {
    const cell = table.cells[i];
    if (cell === undefined) return '';
    if (!('value' in cell)) return { why: cell.text };
    return textOf(cell);
  };
  const head = (a: number, i: number): string => `${plain(table.axes[a]?.values[i] ?? Number.NaN)} ${table.axes[a]?.unit ?? ''}`;
  const rows =
    second === undefined
      ? table.cells.map((_, i) => ({ key: String(i), head: first === undefined ? table.of : head(0, i), cells: [cellText(i)] }))
      : Array.from({ length: table.cells.length / across }, (_, r) => ({ key: String(r), head: head(0, r), cells: Array.from({ length: across }, (__, c) => cellText(r * across + c)) }));
  return {
    columns: [first?.name ?? 'Injector', ...(second === undefined ? [unitText(table)] : second.values.map((_, i) => head(1, i)))],
    rows,
    missing: rows.flatMap((row) => row.cells.flatMap((cell, i) => (typeof cell === 'string' ? [] : [{ where: second === undefined ? row.head : `${row.head}, ${head(1, i)}`, why: cell.why }]))),
  };
}

/** Of the smallest uncertainty of a table: less is not worth a sentence. */
const negligible = 0.01;

/** What holds in a table, in a sentence. */
export function tableSentence({ conditions, betweenBreakpoints: between, unit, fluid, resolution, cells }: ControllerTable): string {
  const leastU = Math.min(...cells.flatMap((cell) => ('value' in cell ? [cell.U95] : [])));
  const fixed = conditions.map((c) => `${c.name} ${plain(c.value)} ${c.unit}`).join(', ');
  return [
    fixed === '' ? '' : `At ${fixed}.`,
    fluid.basis === 'estimated' ? fluid.text : '',
    resolution === null ? '' : `Rounded to steps of ${plain(resolution)} ${unit}, which the uncertainty counts.`,
    between === null || between.most < negligible * leastU ? '' : `Between the breakpoints linear interpolation is off by ${figure(between.most, between.most)} ${unit} at most.`,
  ].filter((text) => text !== '').join(' ');
}

export const unitText = ({ unit }: ControllerTable): string => (unit === 'us' ? 'µs' : unit);

export const withoutLayout = plainLayout;
