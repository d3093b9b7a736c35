/** Tables on the controller's breakpoints, still in SI: what the street of the reduction says at each. TAB-4, TAB-6. */
import type { Reduction } from '../reduce/reduction.ts';
import { gridValue } from '../tables/grid.ts';
import type { GridAxes, GridCell, GridTable } from '../tables/grid.ts';
import { mapTables } from '../tables/map.ts';
import { staticFlowTables } from '../tables/other-pressure.ts';
import { sharedPart, withPart } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { ControllerLayout } from './layout.ts';
import { evenOnly, withMiddles } from './raw-table.ts';
import type { RawTable } from './raw-table.ts';
import { shortPulseRaw } from './short-pulse.ts';

const rising = (list: readonly number[]): readonly number[] => [...new Set(list)].sort((a, b) => a - b);

/** Half the step by which a change with the voltage is told, V. */
const nudge = 0.02;

/** All tables that a run and a layout give. */
export function rawTables(reduction: Reduction, layout: ControllerLayout): readonly RawTable[] {
  const drop = layout.wiringDrop?.volts ?? 0;
  const { axes } = layout;
  const voltages = axes.voltagesV.length > 0 ? axes.voltagesV.map((v) => v - drop) : rising(reduction.cells.map((c) => c.voltage));
  const pressures = axes.pressuresKpa.length > 0 ? axes.pressuresKpa.map((p) => p * 1e3) : rising(reduction.cells.map((c) => c.pressure));
  const heldOpen = axes.pressuresKpa.length > 0 ? pressures : rising(reduction.staticFlows.flatMap((s) => (s.kind === 'static-flow' ? [s.pressure] : [])));
  const open = staticFlowTables(reduction, withMiddles(heldOpen)).map((table) => fromGrid(table, 0));
  return [
    ...overVoltage(reduction, 'dead-time', { voltages, pressures }, layout),
    ...overVoltage(reduction, 'slope', { voltages, pressures }, layout),
    ...open,
    ...shortPulseRaw(reduction, layout),
  ];
}

function overVoltage(reduction: Reduction, quantity: 'dead-time' | 'slope', { voltages, pressures }: Pick<GridAxes, 'voltages' | 'pressures'>, { wiringDrop }: ControllerLayout): readonly RawTable[] {
  const at = { voltages: withMiddles(voltages), pressures: withMiddles(pressures) };
  const tables = mapTables(reduction, quantity, at);
  const drop = wiringDrop?.volts ?? 0;
  const uDrop = (wiringDrop?.expandedVolts ?? 0) / 2;
  if (wiringDrop === undefined || uDrop === 0) return tables.map((table) => fromGrid(table, drop, wiringDrop !== undefined));
  const [lower, higher] = [-nudge, nudge].map((by) => mapTables(reduction, quantity, { ...at, voltages: at.voltages.map((v) => v + by) }));
  return tables.map((table, t) =>
    fromGrid(
      { ...table, cells: table.cells.map((row, i) => row.map((cell, j) => unsure(cell, lower?.[t]?.cells[i]?.[j], higher?.[t]?.cells[i]?.[j], uDrop))) },
      drop,
      true,
    ),
  );
}

/** With what it changes when the voltage at the injector is off by `uVolts`; one side is enough to tell. */
function unsure(cell: GridCell, lower: GridCell | undefined, higher: GridCell | undefined, uVolts: number): GridCell {
  if (cell.kind === 'missing') return cell;
  const [below, above] = [lower, higher].map((c) => (c?.kind === 'value' ? c.result.value : null));
  const { value } = cell.carried;
  if (typeof below !== 'number' && typeof above !== 'number') {
    return { kind: 'missing', reason: 'one-voltage', text: 'How far the wiring drop moves this value is not known, because one voltage alone was measured. Measure a second one, or state the drop without uncertainty.' };
  }
  const slope = typeof below === 'number' && typeof above === 'number' ? (above - below) / (2 * nudge) : typeof above === 'number' ? (above - value) / nudge : (value - (below ?? value)) / nudge;
  return gridValue(withPart(cell.carried, sharedPart(errorSource('wiring-drop'), slope * uVolts)), cell.basis);
}

function fromGrid(table: GridTable, drop: number, battery = false): RawTable {
  const rows = evenOnly(table.rows.values);
  return {
    quantity: table.quantity,
    title: table.title,
    of: table.of,
    period: table.period,
    pressure: null,
    method: table.method,
    axes: [
      { name: battery ? 'battery voltage' : 'supply voltage at the injector', values: rows.map((v) => v + drop) },
      { name: 'differential pressure', values: evenOnly(table.columns.values) },
    ],
    cells: evenOnly(table.cells).map(evenOnly),
    between: { axes: [table.rows.values.map((v) => v + drop), table.columns.values], cells: table.cells },
  };
}
