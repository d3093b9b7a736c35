import { SerialLink } from '../../components/serial-link.tsx';
import { useMemo, useState } from 'react';
import { Choice } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { through } from './amounts.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { briefShown as brief, plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { VoltagePicker } from './pickers.tsx';
import type { Series } from './series.ts';
import { spreadOverSet, spreadSentence } from '../../../app/results/spread.ts';
import type { SpreadOf } from '../../../app/results/spread.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

/** How the injectors of the set differ from their mean, at one voltage and in one quantity. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export function SpreadPanel({ selection, onWish, amounts }: ViewProps) {
  const { voltage, cells, widths, width } = selection;
  const [kind, setKind] = useState<SpreadOf['kind']>('mass');
  const spread = useMemo(
    () => spreadOverSet(cells.filter((c) => c.voltage === voltage), kind === 'mass' ? { kind, width } : { kind }),
    [cells, voltage, kind, width],
  );
  const shown = shownAs(kind, amounts);
  const { mean } = spread;
  const percent = (value: number | null): number | null => (value === null || mean === null || mean.value === 0 ? null : (100 * value) / mean.value);
  // Dead times are compared in time, amounts in percent.
  const inPercent = kind !== 'dead-time';
  const onChart = (value: number): number => (inPercent ? (percent(value) ?? Number.NaN) : shown.convert(value) * 1e3);
  const names = spread.rows.map((r) => r.serialNumber);
  const series: readonly Series[] = [
    {
      id: 'set',
      title: 'Injectors',
      look: 0,
      points: spread.rows.flatMap(({ deviation }, x) => {
        if (deviation === null) return [];
        const { value: d, u95: u } = deviation;
        return [{ x, y: onChart(d), low: u === null ? null : onChart(d - u), high: u === null ? null : onChart(d + u) }];
      }),
    },
  ];
  const what = kind === 'mass' ? `mass at ${plain(width * 1e3)} ms` : kind === 'dead-time' ? 'dead time' : 'slope';
  const where = `${what}, ${plain(voltage)} V`;
  return (
    <>
      <div className="field-row">
        <Choice
          label="Compared in"
          value={kind}
          options={[
            { value: 'mass', text: 'Mass at a pulse width' },
            { value: 'dead-time', text: 'Dead time' },
            { value: 'slope', text: 'Slope' },
          ]}
          onChange={setKind}
        />
        {kind === 'mass' && <Choice label="Pulse width" value={String(width)} options={widths.map((w) => ({ value: String(w), text: `${plain(w * 1e3)} ms` }))} onChange={(value) => onWish({ width: Number(value) })} />}
        <VoltagePicker selection={selection} onWish={onWish} />
      </div>
      <p>
        {spreadSentence(spread)}{' '}
        {spread.range !== null && spread.members > 1 && spread.lowest !== null && spread.highest !== null && (
          <>
            From {spread.lowest.serialNumber} (lowest) to {spread.highest.serialNumber} (highest) the set spans {brief(shown.convert(spread.range), 3)} {shown.unit}
            {inPercent && `, ${brief(percent(spread.range) ?? Number.NaN, 3)} % of the mean`}.
          </>
        )}
      </p>
      <Section title={`Deviation from the mean: ${where}`} wide>
        <XyChart label={`deviation from the mean of the set, ${where}`} xTitle="Injector" yTitle={inPercent ? 'Deviation, %' : 'Deviation, µs'} series={series} xNames={names} zero />
      </Section>
      <Section title="Numbers" wide>
        <FigureTable
          caption={`Deviation from the mean of the set: ${where}; ± is the expanded uncertainty (95 %)`}
          columns={['Injector', `${shown.title}, ${shown.unit}`, inPercent ? 'Deviation, %' : 'Deviation, µs', 'Position in the set']}
          words={[2]}
          rows={[
            ...spread.rows.map((r) => ({
              key: String(r.injector),
              head: <SerialLink of={r.serialNumber} />,
              cells: [
                r.of === null ? <Missing key="value" why={r.why} /> : plusMinus(shown.convert(r.of.value), through(shown.convert, r.of.u95)),
                r.deviation === null ? <Missing key="deviation" why={r.why} /> : plusMinus(onChart(r.deviation.value), r.deviation.u95 === null ? null : Math.abs(onChart(r.deviation.u95)), true),
                r.deviation === null || r.deviation.u95 === null ? '' : Math.abs(r.deviation.value) <= r.deviation.u95 ? 'not told from the mean' : r.deviation.value > 0 ? 'above the mean' : 'below the mean',
              ],
            })),
            { key: 'mean', head: `Mean of ${spread.members}`, cells: [plusMinus(mean === null ? null : shown.convert(mean.value), through(shown.convert, spread.mean?.u95 ?? null)), '', ''] },
          ]}
        />
        <p className="small quiet">The uncertainty of a deviation is that of the difference: what an instrument does to all injectors alike is no part of it.</p>
        <MissingList of={spread.rows.filter((r) => r.of === null).map((r) => ({ where: r.serialNumber, why: r.why }))} />
      </Section>
    </>
  );
}

function shownAs(kind: SpreadOf['kind'], amounts: ViewProps['amounts']): { readonly title: string; readonly unit: string; readonly convert: (value: number) => number } {
  switch (kind) {
    case 'mass':
      return { title: amounts.pulseUnit === 'mg' ? 'Mass per pulse' : 'Mean flow', unit: amounts.pulseUnit, convert: amounts.pulse };
    case 'dead-time':
      return { title: 'Dead time', unit: 'ms', convert: (s) => s * 1e3 };
    case 'slope':
      return { title: 'Slope', unit: amounts.slopeUnit, convert: amounts.slope };
  }
}
