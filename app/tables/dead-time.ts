/** Dead time and slope over supply voltage, for each injector and for the set (RED-20 to RED-22). */
import { deadTimeCarried, slopeCarried } from '../reduce/carried-line.ts';
import type { LineCell, NoLineCell, Reduction } from '../reduce/reduction.ts';
import { meanOf } from '../uncertainty/set.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import type { TableCell, Table } from './table.ts';

/** The column of the mean of all injectors; no injector can have this id. */
export const setMeanColumn = 'set-mean';

interface Kind {
  readonly quantity: Table['quantity'];
  readonly title: string;
  readonly siUnit: Table['siUnit'];
  readonly of: (cell: LineCell) => LineCell['slope'];
  readonly interval: (cell: LineCell) => { readonly low: number; readonly high: number };
  readonly carried: (cell: LineCell) => Carried;
}

const deadTime: Kind = {
  quantity: 'dead-time',
  title: 'Time-Offset X (dead time)',
  siUnit: 's',
  of: (cell) => cell.deadTime,
  interval: (cell) => cell.deadTimeInterval,
  carried: deadTimeCarried,
};

const slope: Kind = {
  quantity: 'slope',
  title: 'Slope m',
  siUnit: 'kg/s',
  of: (cell) => cell.slope,
  interval: ({ slope: { value, expanded } }) => ({ low: value - expanded, high: value + expanded }),
  carried: slopeCarried,
};

/** One table for each pressure and period of the plan. */
export function deadTimeTables(reduction: Reduction): readonly Table[] {
  return tablesOf(reduction, deadTime);
}

/** As `deadTimeTables`. */
export function slopeTables(reduction: Reduction): readonly Table[] {
  return tablesOf(reduction, slope);
}

function tablesOf(reduction: Reduction, kind: Kind): readonly Table[] {
  const conditions = new Map<string, (LineCell | NoLineCell)[]>();
  for (const cell of reduction.cells) {
    const key = `${cell.pressure}|${cell.period}`;
    const list = conditions.get(key);
    if (list === undefined) conditions.set(key, [cell]);
    else list.push(cell);
  }
  return [...conditions.values()].flatMap((cells) => {
    const [first] = cells;
    if (first === undefined) return [];
    const injectors = new Map(cells.map((c) => [c.injector, c.serialNumber]));
    const voltages = [...new Set(cells.map((c) => c.voltage))].sort((a, b) => a - b);
    const columns = [...injectors].map(([index, serialNumber]) => ({ id: `injector-${index}`, title: serialNumber }));
    const rows = voltages.map((voltage) => {
      const here = [...injectors.keys()].map((i) => cells.find((c) => c.injector === i && c.voltage === voltage));
      return { voltage, cells: [...here.map((c) => cellOf(c, kind)), setMean(here, kind)] };
    });
    return [
      {
        quantity: kind.quantity,
        title: kind.title,
        siUnit: kind.siUnit,
        pressure: first.pressure,
        period: first.period,
        columns: [...columns, { id: setMeanColumn, title: 'Set mean' }],
        rows,
      },
    ];
  });
}

function cellOf(cell: LineCell | NoLineCell | undefined, kind: Kind): TableCell {
  if (cell === undefined) return { kind: 'missing', reason: 'not-measured', text: 'The plan does not measure this injector here.' };
  if (cell.kind === 'no-line') return { kind: 'missing', reason: cell.reason, text: cell.text };
  return { kind: 'value', result: kind.of(cell), interval: kind.interval(cell), sources: cell.sources };
}

/**
 * Mean of these injectors (not of a population: their spread is no part of its uncertainty). Random parts are averaged;
 * each instrument's error is the same in all members and is not.
 */
function setMean(members: readonly (LineCell | NoLineCell | undefined)[], kind: Kind): TableCell {
  const lines = members.flatMap((cell) => (cell?.kind === 'line' ? [cell] : []));
  if (lines.length < members.length || lines.length === 0) {
    return { kind: 'missing', reason: 'member-missing', text: 'At least one injector of the set has no value here, so the set has no mean.' };
  }
  const mean = stateCarried(meanOf(lines.map(kind.carried)));
  return {
    kind: 'value',
    result: mean,
    interval: { low: mean.value - mean.expanded, high: mean.value + mean.expanded },
    sources: lines.flatMap((line) => line.sources),
  };
}
