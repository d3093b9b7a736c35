import { shownText } from '../../components/shown-text.ts';
import { SerialLink } from '../../components/serial-link.tsx';
import { slopeModelSentence } from '../../../app/reduce/slope-words.ts';
import { useMemo } from 'react';
import { Section } from '../../components/page.tsx';
import { deadTimeTables, slopeTables } from '../../../app/tables/dead-time.ts';
import type { TableCell, Table } from '../../../app/tables/table.ts';
import { fromSetMean, overVoltage } from './dead-time-view.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { conditionKey } from '../../../app/results/run-results.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

/** Dead time and slope of all injectors over supply voltage. */
export function DeadTimePanel({ results: { reduction }, selection: { condition, cells }, amounts }: ViewProps) {
  const whole = useMemo(() => ({ ...reduction, windows: [] }), [reduction]);
  const deadTime = useMemo(() => deadTimeTables(whole).find((t) => conditionKey(t) === condition.key), [whole, condition]);
  const slope = useMemo(() => slopeTables(whole).find((t) => conditionKey(t) === condition.key), [whole, condition]);
  const series = useMemo(() => (deadTime === undefined ? [] : overVoltage(deadTime)), [deadTime]);
  const differences = useMemo(() => fromSetMean(cells), [cells]);
  // Where the plan measures none at all there is nothing to tell.
  const statics = reduction.staticFlows.filter((one) => one.pressure === condition.pressure && !(one.kind === 'no-static-flow' && one.reason === 'not-planned'));
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
        {reduction.slopeModels
          .filter((one) => conditionKey(one) === condition.key)
          .map((one) => (
            <p key={one.type} className="small quiet">
              {one.type}: {shownText(slopeModelSentence(one))}
            </p>
          ))}
      </Section>
      {statics.length > 0 && (
        <Section title={`Static flow, ${amounts.flowUnit}`} wide>
          <FigureTable
            caption={`Static flow Qs in ${amounts.flowUnit} at ${condition.label}, injector held open, and its ratio to the slope at each voltage; ± is the expanded uncertainty (95 %)`}
            columns={['Injector', `Qs, ${amounts.flowUnit}`, ...deadTime.rows.map(({ voltage }) => `Qs / m at ${plain(voltage)} V`)]}
            rows={statics.map((one) => ({
              key: String(one.injector),
              head: <SerialLink of={one.serialNumber} />,
              cells: [
                one.kind === 'static-flow' ? plusMinus(amounts.slope(one.flow.value), amounts.slope(one.flow.expanded)) : <Missing why={one.text} />,
                ...deadTime.rows.map(({ voltage }) => {
                  const cell = cells.find((c) => c.injector === one.injector && c.voltage === voltage);
                  const ratio = cell?.kind === 'line' ? cell.staticToSlope : null;
                  return ratio === null ? <Missing key={voltage} why="Static flow or slope is not there." /> : plusMinus(ratio.value, ratio.expanded);
                }),
              ],
            }))}
          />
          <MissingList of={statics.flatMap((one) => (one.kind === 'no-static-flow' ? [{ where: one.serialNumber, why: one.text }] : []))} />
        </Section>
      )}
    </>
  );
}

/** Injectors down, voltages across. */
function VoltageTable({ table, caption, convert }: { readonly table: Table; readonly caption: string; readonly convert: (value: number) => number }) {
  const missing = table.rows.flatMap(({ voltage, cells }) =>
    cells.flatMap((cell, i) => (cell.kind === 'missing' ? [{ where: `${table.columns[i]?.title ?? ''} at ${plain(voltage)} V`, why: cell.text }] : [])),
  );
  const text = (cell: TableCell | undefined) =>
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
