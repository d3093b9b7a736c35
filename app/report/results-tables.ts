/** The results of a run as tables of a report: what the customer uses. REP-3, REP-5. */
import type { LineCell, NoLineCell, Reduction } from '../reduce/reduction.ts';
import { meanOf, rangeOf } from '../uncertainty/set.ts';
import { deadTimeTables, slopeTables } from '../tables/dead-time.ts';
import type { GridTable } from '../tables/grid.ts';
import { shortPulseTables } from '../tables/short-pulse.ts';
import type { Table, TableCell } from '../tables/table.ts';
import { cubicCentimetresPerMinute } from '../tables/units.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { Result } from '../uncertainty/budget.ts';
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import { staticCarried } from '../reduce/static-flow.ts';
import type { KilogramsPerCubicMetre, KilogramsPerSecond } from '../quantities/quantity.ts';
import { plain, plusMinus } from '../quantities/figures.ts';
import type { ReportCell, ReportColumn, ReportTable } from './document.ts';
import { reportUnits } from './units.ts';

type Reduced = Omit<Reduction, 'windows'>;

/** More columns than this do not fit across a page; the rest stand in a table of their own. */
const ACROSS = 7;

export const valueCell = ({ value, expanded, coverageFactor, effectiveDof }: Pick<Result, 'value' | 'expanded' | 'coverageFactor' | 'effectiveDof'>): ReportCell => ({
  kind: 'value',
  value,
  expanded,
  coverageFactor,
  dof: Number.isFinite(effectiveDof) ? effectiveDof : null,
});
export const bareCell = (value: number): ReportCell => ({ kind: 'value', value, expanded: null, coverageFactor: null, dof: null });
export const textCell = (text: string): ReportCell => ({ kind: 'text', text });
export const missingCell = (text: string): ReportCell => ({ kind: 'missing', text });

export const shownMilliseconds = (s: number): string => `${plain(s * 1e3)} ms`;

/** The voltage that one slope stands for all of them at. */
const NOMINAL = 14;

const parts = <T>(items: readonly T[], across = ACROSS): readonly (readonly T[])[] => Array.from({ length: Math.max(1, Math.ceil(items.length / across)) }, (_, i) => items.slice(i * across, (i + 1) * across));

/** Injectors down, supply voltage across; the last row is the mean of the set. */
function overVoltage(table: Table, index: number): readonly ReportTable[] {
  const of = table.quantity === 'dead-time' ? ({ id: 'dead-time', title: 'Dead time X', unit: reportUnits.deadTime } as const) : ({ id: 'slope', title: 'Slope m', unit: reportUnits.slope } as const);
  return parts(table.rows).map((rows, part): ReportTable => ({
    id: `${of.id}-${index + 1}${part === 0 ? '' : `-${part + 1}`}`,
    title: `${of.title} over supply voltage at ${table.pressure / 1e3} kPa, period ${shownMilliseconds(table.period)}`,
    corner: 'Injector',
    columns: rows.map((row): ReportColumn => ({ title: `${row.voltage} V`, unit: of.unit })),
    rows: table.columns.map((column, i) => ({
      title: column.title,
      cells: rows.map((row): ReportCell => {
        const cell = row.cells[i];
        return cell?.kind === 'value' ? valueCell(cell.result) : missingCell(cell?.text ?? 'Not measured.');
      }),
    })),
    notes: [],
  }));
}

/** Dead time and slope as the tables of every page and file have them. */
export function lineTables(reduction: Reduced): readonly ReportTable[] {
  const whole = { ...reduction, windows: [] };
  return [...deadTimeTables(whole).flatMap(overVoltage), ...slopeTables(whole).flatMap(overVoltage)];
}

/** What fits on one page: dead time over voltage with the slope nearest to 14 V and the static flow beside it, one table for each pressure and period. */
export function summaryTables(reduction: Reduced): readonly ReportTable[] {
  const whole = { ...reduction, windows: [] };
  const slopes = slopeTables(whole);
  return deadTimeTables(whole).flatMap((table, index) => {
    const slope = slopes[index];
    const nearest = slope?.rows.toSorted((a, b) => Math.abs(a.voltage - NOMINAL) - Math.abs(b.voltage - NOMINAL))[0];
    const flows = reduction.staticFlows.filter((s) => s.pressure === table.pressure && s.kind === 'static-flow');
    const cellOf = (cell: TableCell | undefined): ReportCell => (cell?.kind === 'value' ? valueCell(cell.result) : missingCell(cell?.text ?? 'Not measured.'));
    const withFlow = flows.length > 0;
    return parts(table.rows, ACROSS - (withFlow ? 2 : 1)).map((rows, part): ReportTable => ({
      id: `summary-${index + 1}${part === 0 ? '' : `-${part + 1}`}`,
      title: `Dead time X over supply voltage, slope m${withFlow ? ', static flow Qs' : ''} at ${table.pressure / 1e3} kPa, period ${shownMilliseconds(table.period)}`,
      corner: 'Injector',
      columns: [
        ...rows.map((row) => ({ title: `X, ${row.voltage} V`, unit: reportUnits.deadTime })),
        { title: nearest === undefined ? 'm' : `m, ${nearest.voltage} V`, unit: reportUnits.slope },
        ...(withFlow ? [{ title: 'Qs', unit: reportUnits.staticFlow }] : []),
      ],
      rows: table.columns.map((column, i) => {
        const flow = reduction.staticFlows.find((s) => s.pressure === table.pressure && s.serialNumber === column.title);
        return {
          title: column.title,
          cells: [
            ...rows.map((row) => cellOf(row.cells[i])),
            cellOf(nearest?.cells[i]),
            ...(withFlow ? [flow === undefined ? textCell('') : flow.kind === 'static-flow' ? valueCell(flow.flow) : missingCell(flow.text)] : []),
          ],
        };
      }),
      notes: [],
    }));
  });
}

/** Static flow in the units of the trade; volumes at the density that stands beside them. null: none was planned. */
export function staticFlowTable({ staticFlows }: Reduced, density: KilogramsPerCubicMetre | null): ReportTable | null {
  if (staticFlows.every((s) => s.kind === 'no-static-flow' && s.reason === 'not-planned')) return null;
  const volume = density === null ? [] : [{ title: 'Volume', unit: { si: 'kg/s', shown: 'cm³/min', factor: cubicCentimetresPerMinute(1 as KilogramsPerSecond, density) } }];
  return {
    id: 'static-flow',
    title: 'Static flow Qs, held open',
    corner: 'Injector',
    columns: [{ title: 'Pressure', unit: null }, { title: 'Supply', unit: null }, { title: 'Mass', unit: reportUnits.staticFlow }, { title: 'Mass', unit: { si: 'kg/s', shown: 'lb/h', factor: 3600 / 0.45359237 } }, ...volume],
    rows: staticFlows.map((s) => {
      const at = textCell(`${s.pressure / 1e3} kPa`);
      if (s.kind === 'no-static-flow') return { title: s.serialNumber, cells: [at, textCell(''), missingCell(s.text), missingCell(s.text), ...volume.map(() => missingCell(s.text))] };
      const flow = valueCell(s.flow);
      return { title: s.serialNumber, cells: [at, textCell(`${s.voltage} V`), flow, flow, ...volume.map(() => flow)] };
    }),
    notes: density === null ? [] : [`Volumes are those of the measuring fluid at the reference temperature and a density of ${density.toFixed(2)} kg/m3; the uncertainty of the density is in that of the mass.`],
  };
}

/** How injectors differ: mean, lowest, highest and spread at each voltage and pressure. Errors in common cancel in the spread. */
export function spreadTable(reduction: Reduced): ReportTable {
  const places = [...new Set(reduction.cells.map((c) => `${c.voltage}|${c.pressure}|${c.period}`))];
  const rows = places.flatMap((place) => {
    const lines = reduction.cells.flatMap((c) => (c.kind === 'line' && `${c.voltage}|${c.pressure}|${c.period}` === place ? [c] : []));
    const [first] = lines;
    if (first === undefined || lines.length < 2) return [];
    const of = (carry: (cell: LineCell) => ReturnType<typeof slopeCarried>): readonly ReportCell[] => {
      const members = lines.map(carry);
      return [valueCell(stateCarried(meanOf(members))), valueCell(stateCarried(rangeOf(members)))];
    };
    return [{ title: `${first.voltage} V, ${first.pressure / 1e3} kPa`, cells: [textCell(String(lines.length)), ...of(deadTimeCarried), ...of(slopeCarried)] }];
  });
  const staticRows = [...new Set(reduction.staticFlows.map((s) => s.pressure))].flatMap((pressure) => {
    const members = reduction.staticFlows.flatMap((s) => (s.kind === 'static-flow' && s.pressure === pressure ? [staticCarried(s)] : []));
    if (members.length < 2) return [];
    const [mean, range] = [meanOf(members), rangeOf(members)].map((of) => stateCarried(of)).map((of) => plusMinus(of.value * reportUnits.staticFlow.factor, of.expanded * reportUnits.staticFlow.factor));
    return [`Static flow Qs at ${pressure / 1e3} kPa, ${members.length} injectors: mean ${mean ?? ''} g/min, largest less smallest ${range ?? ''} g/min.`];
  });
  return {
    id: 'spread',
    title: 'The set: means, and largest less smallest',
    corner: 'Condition',
    columns: [
      { title: 'Injectors', unit: null },
      { title: 'Mean of X', unit: reportUnits.deadTime },
      { title: 'Spread of X', unit: reportUnits.deadTime },
      { title: 'Mean of m', unit: reportUnits.slope },
      { title: 'Spread of m', unit: reportUnits.slope },
    ],
    rows,
    notes: ['Means are of these injectors and not of a population. An error that all injectors have in common is in the mean and cancels in the spread.', ...staticRows],
  };
}

/** Where an injector can be used, over supply voltage: from which width the line holds, the flow range, the shortest repeatable width. */
export function rangeTables({ cells }: Reduced): readonly ReportTable[] {
  const missing = (c: NoLineCell | undefined): ReportCell => missingCell(c?.text ?? 'Not measured.');
  const kinds = [
    { id: 'line-from', title: 'Linear region from pulse width', unit: reportUnits.deadTime, of: (c: LineCell) => bareCell(c.region.from) },
    { id: 'flow-range', title: 'Linear flow range LFR, largest over smallest flow', unit: reportUnits.ratio, of: (c: LineCell) => (c.flowRange === null ? missingCell('No width lies inside the limit.') : bareCell(c.flowRange.ratio)) },
    { id: 'repeatable-from', title: 'Repeatable from pulse width', unit: reportUnits.deadTime, of: (c: LineCell) => (c.lowestRepeatable.kind === 'width' ? bareCell(c.lowestRepeatable.width) : missingCell(c.lowestRepeatable.text)) },
  ] as const;
  const conditions = [...new Set(cells.map((c) => `${c.pressure}|${c.period}`))].map((key) => cells.filter((c) => `${c.pressure}|${c.period}` === key));
  return kinds.flatMap(({ id, title, unit, of }) =>
    conditions.flatMap((here, index): readonly ReportTable[] => {
      const [first] = here;
      if (first === undefined) return [];
      const voltages = [...new Set(here.map((c) => c.voltage))].sort((a, b) => a - b);
      return parts(voltages).map((some, part) => ({
        id: `${id}-${index + 1}${part === 0 ? '' : `-${part + 1}`}`,
        title: `${title} at ${first.pressure / 1e3} kPa`,
        corner: 'Injector',
        columns: some.map((voltage) => ({ title: `${voltage} V`, unit })),
        rows: [...new Map(here.map((c) => [c.injector, c.serialNumber]))].map(([injector, serial]) => ({
          title: serial,
          cells: some.map((voltage) => {
            const cell = here.find((c) => c.injector === injector && c.voltage === voltage);
            return cell?.kind === 'line' ? of(cell) : missing(cell);
          }),
        })),
        notes: ['Among the widths that were measured; no uncertainty is stated of them.'],
      }));
    }),
  );
}

/** Short-pulse correction: voltage down, pulse width across; to be added to m (PW - X). */
export function correctionTables(reduction: Reduced): readonly ReportTable[] {
  return shortPulseTables({ ...reduction, windows: [] }, []).flatMap((table, i) => correction(table, i));
}

function correction(table: GridTable, index: number): readonly ReportTable[] {
  // Widths at which every voltage is on its line say nothing.
  const used = table.columns.values.map((width, i) => ({ width, i })).filter(({ i }) => table.cells.some((row) => row[i]?.kind === 'value' && row[i].result.value !== 0));
  if (used.length === 0) return [];
  return parts(used).map((widths, part): ReportTable => ({
    id: `short-pulse-${index + 1}${part === 0 ? '' : `-${part + 1}`}`,
    title: `Short-pulse correction of ${table.of} at ${table.at}`,
    corner: 'Supply',
    columns: widths.map(({ width }) => ({ title: shownMilliseconds(width), unit: reportUnits.mass })),
    rows: table.rows.values.map((voltage, r) => ({
      title: `${voltage} V`,
      cells: widths.map(({ i }): ReportCell => {
        const cell = table.cells[r]?.[i];
        return cell?.kind === 'value' ? valueCell(cell.result) : missingCell(cell?.text ?? 'Not measured.');
      }),
    })),
    notes: ['To be added to m (PW - X). 0 in the linear region. Longer widths than those shown need none.'],
  }));
}

