import { useMemo } from 'react';
import { Section } from '../../components/page.tsx';
import { deadTimeTables, slopeTables } from '../../../app/tables/dead-time.ts';
import type { Cell, Table } from '../../../app/tables/table.ts';
import { fromSetMean, overVoltage } from './dead-time-view.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { plain, plusMinus } from './figures.ts';
import { conditionKey } from './results.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

/** Dead time and slope of all injectors over supply voltage. */
export function DeadTimePanel({ results: { reduction }, selection: { condition, cells }, amounts }: ViewProps) {
  const whole = useMemo(() => ({ ...reduction, windows: [] }), [reduction]);
  const deadTime = useMemo(() => deadTimeTables(whole).find((t) => conditionKey(t) === condition.key), [whole, condition]);
  const slope = useMemo(() => slopeTables(whole).find((t) => conditionKey(t) === condition.key), [whole, condition]);
  const series = useMemo(() => (deadTime === undefined ? [] : overVoltage(deadTime)), [deadTime]);
  const differences = useMemo(() => fromSetMean(cells), [cells]);
  if (deadTime === undefined || slope === undefined) return null;
  return (
    <>
      <div className="sections results-pair">
        <Section title="Dead time against supply voltage">
          <XyChart label="dead time against supply voltage, all injectors" xTitle="Supply voltage, V" yTitle="Dead time X, ms" series={series} joined tall />
        </Section>
        <Section title="Difference from the mean of the injectors">
          <XyChart label="dead time less the mean of the injectors, against supply voltage" xTitle="Supply voltage, V" yTitle="Difference, µs" series={differences} joined zero tall />
          <p className="small quiet">Errors of an instrument that move all injectors alike are left out of these intervals.</p>
        </Section>
      </div>
      <Section title="Dead time, ms" wide>
        <VoltageTable table={deadTime} caption={`Time-Offset X (dead time) in ms at ${condition.label}`} convert={(s) => s * 1e3} />
      </Section>
      <Section title={`Slope, ${amounts.slopeUnit}`} wide>
        <VoltageTable table={slope} caption={`Slope m in ${amounts.slopeUnit} at ${condition.label}`} convert={amounts.slope} />
      </Section>
    </>
  );
}

/** Injectors down, voltages across. */
function VoltageTable({ table, caption, convert }: { readonly table: Table; readonly caption: string; readonly convert: (value: number) => number }) {
  const missing = table.rows.flatMap(({ voltage, cells }) =>
    cells.flatMap((cell, i) => (cell.kind === 'missing' ? [{ where: `${table.columns[i]?.title ?? ''} at ${plain(voltage)} V`, why: cell.text }] : [])),
  );
  const text = (cell: Cell | undefined) =>
    cell === undefined ? null : cell.kind === 'missing' ? <Missing why={cell.text} /> : plusMinus(convert(cell.result.value), convert(cell.result.expanded));
  return (
    <>
      <FigureTable
        caption={`${caption}; ± is the expanded uncertainty (95 %)`}
        columns={['Injector', ...table.rows.map(({ voltage }) => `${plain(voltage)} V`)]}
        rows={table.columns.map((column, i) => ({ key: column.id, head: column.title, cells: table.rows.map(({ cells }) => text(cells[i])) }))}
      />
      <MissingList of={missing} />
    </>
  );
}
