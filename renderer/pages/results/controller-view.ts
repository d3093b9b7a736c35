/** Tables for an engine controller as the page shows and copies them. TAB-22. */
import type { ControllerTable } from '../../../app/handover/document.ts';
import { gridRows } from '../../../app/handover/grid-rows.ts';
import type { ControllerLayout } from '../../../app/handover/layout.ts';
import { controllerTables } from '../../../app/handover/build.ts';
import { plainLayout, withDecimalSign } from '../../../app/handover/layout.ts';
import { figure, plain, plusMinus } from '../../../app/quantities/figures.ts';
import type { RunResults } from '../../../app/results/run-results.ts';

/** Tables of one injector alone: all of them would take the page longer than a person waits. A text: why there are none. */
export function tablesOfInjector({ plan, equipment, reduction }: RunResults, injector: number, layout: ControllerLayout): readonly ControllerTable[] | string {
  const built = controllerTables({
    plan, equipment, layout,
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
export function shownGrid(table: ControllerTable): ShownGrid {
  const [first, second] = table.axes;
  const across = (second ?? first)?.values.length ?? 1;
  const cellText = (i: number): string | { readonly why: string } => {
    const cell = table.cells[i];
    if (cell === undefined) return '';
    if (!('value' in cell)) return { why: cell.text };
    const value = table.resolution === null ? plusMinus(cell.value, cell.U95) : `${plain(cell.value)} ± ${figure(cell.U95, cell.U95)}`;
    return cell.basis === 'measured' ? value : `${value} (${cell.basis})`;
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
