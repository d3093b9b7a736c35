import { useMemo } from 'react';
import { Choice } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { useState } from 'react';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { VoltagePicker } from './pickers.tsx';
import type { Series } from './series.ts';
import { shortColumns } from '../../../app/results/short-pulses.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

const limits = [0.5, 1, 2, 5] as const;
const spans = [2, 5, 25, 100] as const;

/** The region of short pulses: how far the masses leave the line there, for all injectors of one voltage. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function ShortPanel({ results, selection, onWish }: ViewProps) {
  const { voltage, widths, cells } = selection;
  const [limit, setLimit] = useState(results.plan.reduction.linearityPercent);
  const [span, setSpan] = useState<number>(25);
  const columns = useMemo(() => shortColumns(cells.filter((c) => c.voltage === voltage), limit), [cells, voltage, limit]);
  const series = useMemo(
    () =>
      columns.map((column, look): Series => ({
        id: String(column.injector),
        title: column.serialNumber,
        look,
        points: [...column.deviations]
          .flatMap(([width, { value, u95 }]) => (Math.abs(value) > span ? [] : [{ x: width * 1e3, y: value, low: u95 === null ? null : value - u95, high: u95 === null ? null : value + u95 }]))
          .sort((a, b) => a.x - b.x),
      })),
    [columns, span],
  );
  const regions = columns.flatMap((c) => (c.regionFrom === null ? [] : [c.regionFrom]));
  const longest = widths.at(-1) ?? 0;
  // Where all have a line, so that what is marked holds for each of them.
  const from = Math.max(...regions);
  const limitOptions = [...new Set([results.plan.reduction.linearityPercent, ...limits])].sort((a, b) => a - b).map((p) => ({ value: String(p), text: p === results.plan.reduction.linearityPercent ? `${p} % (of the plan)` : `${p} %` }));
  return (
    <>
      <div className="field-row">
        <VoltagePicker selection={selection} onWish={onWish} />
        <Choice label="Limit of deviation" value={String(limit)} options={limitOptions} onChange={(value) => setLimit(Number(value))} />
        <Choice label="The chart shows up to" value={String(span)} options={spans.map((p) => ({ value: String(p), text: `${p} % from the line` }))} onChange={(value) => setSpan(Number(value))} />
      </div>
      <Section title={`Deviation from the line at ${plain(voltage)} V`} wide>
        <XyChart
          label={`deviation from the line against pulse width at ${plain(voltage)} V, all injectors`}
          xTitle="Pulse width, ms"
          yTitle="Deviation from the line, %"
          series={series}
          joined
          zero
          tall
          band={Number.isFinite(from) ? { title: 'Region in which every injector is on its line', from: from * 1e3, to: longest * 1e3 } : undefined}
          limit={{ title: `Limit ± ${limit} %`, low: -limit, high: limit }}
        />
        <p className="small quiet">Below the region the mass comes from this curve and not from the line. The intervals hold the scatter only.</p>
      </Section>
      <Section title="Numbers" wide>
        <FigureTable
          caption={`Deviation from the line in % at ${plain(voltage)} V; ± is the expanded uncertainty (95 %) of the scatter`}
          columns={['Pulse width, ms', ...columns.map((c) => c.serialNumber)]}
          rows={[
            ...widths.map((width) => ({
              key: String(width),
              head: plain(width * 1e3),
              cells: columns.map((c) => {
                const at = c.deviations.get(width);
                if (at === undefined) return <Missing key={c.injector} why={c.why === '' ? 'Not measured, or the line is not above zero at this width.' : c.why} />;
                return (
                  <span key={c.injector} className={Math.abs(at.value) > limit ? 'beyond' : undefined}>
                    {plusMinus(at.value, at.u95, true)}
                    {Math.abs(at.value) > limit && <span aria-label="beyond the limit"> ▲</span>}
                  </span>
                );
              }),
            })),
            { key: 'region', head: 'On the line from, ms', cells: columns.map((c) => (c.regionFrom === null ? <Missing key={c.injector} why={c.why} /> : plain(c.regionFrom * 1e3))) },
            {
              key: 'inside',
              head: `Inside ± ${limit} % from, ms`,
              cells: columns.map((c) => (c.insideFrom === null ? <Missing key={c.injector} why={c.why === '' ? 'No width is inside the limit.' : c.why} /> : plain(c.insideFrom * 1e3))),
            },
            { key: 'repeatable', head: 'Repeatable from, ms', cells: columns.map((c) => (c.repeatableFrom === null ? <Missing key={c.injector} why={c.repeatableWhy} /> : plain(c.repeatableFrom * 1e3))) },
          ]}
        />
        <p className="small quiet">▲ beyond the limit.</p>
        <MissingList of={columns.filter((c) => c.why !== '').map((c) => ({ where: c.serialNumber, why: c.why }))} />
      </Section>
    </>
  );
}
