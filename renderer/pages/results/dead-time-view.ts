/** Dead time over supply voltage, for the charts; the tables are those of `app/tables`. */
import type { Table } from '../../../app/tables/table.ts';
import { setMeanColumn } from '../../../app/tables/dead-time.ts';
import { deadTimeCarried } from '../../../app/reduce/carried-line.ts';
import { estimateOf } from '../../../app/results/estimate.ts';
import { deviationsFromMean } from '../../../app/uncertainty/set.ts';
import type { ResultCell } from './results.ts';
import type { Series } from './series.ts';

/** One series for each injector, ms over V; with the intervals of the table. The set mean has a table and no series. */
export function overVoltage(table: Table): readonly Series[] {
  return table.columns.flatMap((column, i) =>
    column.id === setMeanColumn
      ? []
      : [
          {
            id: column.id,
            title: column.title,
            look: i,
            points: table.rows.flatMap(({ voltage, cells }) => {
              const cell = cells[i];
              return cell?.kind === 'value' ? [{ x: voltage, y: cell.result.value * 1e3, low: cell.interval.low * 1e3, high: cell.interval.high * 1e3 }] : [];
            }),
          },
        ],
  );
}

/** The same as differences from the mean of the injectors, µs: there what they differ by can be seen. */
export function fromSetMean(cells: readonly ResultCell[]): readonly Series[] {
  const byInjector = new Map<number, { readonly title: string; readonly points: Series['points'][number][] }>();
  const voltages = [...new Set(cells.map((c) => c.voltage))].sort((a, b) => a - b);
  for (const { injector, serialNumber } of cells) if (!byInjector.has(injector)) byInjector.set(injector, { title: serialNumber, points: [] });
  for (const voltage of voltages) {
    const here = cells.flatMap((c) => (c.kind === 'line' && c.voltage === voltage ? [c] : []));
    deviationsFromMean(here.map(deadTimeCarried)).forEach((deviation, i) => {
      const { value, u95 } = estimateOf(deviation);
      const cell = here[i];
      if (cell === undefined) return;
      byInjector.get(cell.injector)?.points.push({ x: voltage, y: value * 1e6, low: u95 === null ? null : (value - u95) * 1e6, high: u95 === null ? null : (value + u95) * 1e6 });
    });
  }
  return [...byInjector].map(([injector, { title, points }], look) => ({ id: `injector-${injector}`, title, look, points }));
}
