import { SerialLink } from '../../components/serial-link.tsx';
import { useMemo, useState } from 'react';
import { plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { deviationsFromMean, meanOf, percentOf } from '../../../app/uncertainty/set.ts';
import { estimateOf } from '../../../app/results/estimate.ts';
import { widthMassCarried } from '../../../app/reduce/carried-line.ts';
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { Choice } from '../../components/field.tsx';
import { Section } from '../../components/page.tsx';
import { through } from './amounts.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { VoltagePicker } from './pickers.tsx';
import type { Series } from './series.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

type Shown = 'mass' | 'percent';

interface Figure {
  readonly value: number;
  readonly u95: number | null;
}

interface InjectorMasses {
  readonly injector: number;
  readonly serialNumber: string;
  /** By width, s. */
  readonly figures: ReadonlyMap<number, Figure>;
  readonly why: string;
}

/** Masses of every injector with a line over width; or how far each is from the mean of those that were measured at that width. MA-9 */
function massesOfAll(cells: readonly LineCell[], shown: Shown): readonly { readonly injector: number; readonly serialNumber: string; readonly figures: ReadonlyMap<number, Figure> }[] {
  const own = cells.map((cell) => ({ cell, byWidth: new Map(cell.widths.map((w) => [w.width as number, widthMassCarried(cell, w)])), figures: new Map<number, Figure>() }));
  for (const width of new Set(own.flatMap((o) => [...o.byWidth.keys()]))) {
    const there = own.flatMap((o) => {
      const mass = o.byWidth.get(width);
      return mass === undefined ? [] : [{ o, mass }];
    });
    const mean = meanOf(there.map((t) => t.mass));
    const apart = deviationsFromMean(there.map((t) => t.mass));
    there.forEach(({ o, mass }, i) => {
      const deviation = apart[i];
      if (shown === 'mass') o.figures.set(width, estimateOf(mass));
      else if (there.length > 1 && mean.value > 0 && deviation !== undefined) o.figures.set(width, estimateOf(percentOf(deviation, mean)));
    });
  }
  return own.map(({ cell, figures }) => ({ injector: cell.injector, serialNumber: cell.serialNumber, figures }));
}

/** All injectors of the set in one chart: mass against width at one voltage, or how far each is from the mean of the set. WIN-60 */
export function MassesPanel({ selection, onWish, amounts }: ViewProps) {
  const { cells, voltage } = selection;
  const [shown, setShown] = useState<Shown>('mass');
  const here = useMemo(() => cells.filter((c) => c.voltage === voltage), [cells, voltage]);
  const rows = useMemo((): readonly InjectorMasses[] => {
    const found = new Map(massesOfAll(here.filter((c) => c.kind === 'line'), shown).map((one) => [one.injector, one]));
    return here.map((c) => ({ injector: c.injector, serialNumber: c.serialNumber, figures: found.get(c.injector)?.figures ?? new Map<number, Figure>(), why: c.kind === 'line' ? '' : c.text }));
  }, [here, shown]);
  const widths = useMemo(() => [...new Set(rows.flatMap((r) => [...r.figures.keys()]))].sort((a, b) => a - b), [rows]);
  const convert = (value: number): number => (shown === 'mass' ? amounts.pulse(value) : value);
  const series = useMemo(
    () =>
      rows.map((row, look): Series => ({
        id: String(row.injector), title: row.serialNumber, look,
        points: [...row.figures].sort(([a], [b]) => a - b).map(([width, { value, u95 }]) => ({ x: width * 1e3, y: convert(value), low: u95 === null ? null : convert(value - u95), high: u95 === null ? null : convert(value + u95) })),
      })),
    // `convert` is made of these.
    [rows, shown, amounts],
  );
  const unit = shown === 'mass' ? amounts.pulseUnit : '%';
  const title = shown === 'mass' ? amounts.pulseTitle : 'Deviation from the mean, %';
  const where = `${plain(voltage)} V, all injectors`;
  return (
    <>
      <div className="field-row">
        <Choice
          label="Shown as"
          value={shown}
          options={[
            { value: 'mass', text: 'Mass against pulse width' },
            { value: 'percent', text: 'Deviation from the mean of the set, %' },
          ]}
          onChange={setShown}
        />
        <VoltagePicker selection={selection} onWish={onWish} />
      </div>
      <Section title={`${shown === 'mass' ? 'Mass against width' : 'Deviation from the mean'}, ${where}`} wide>
        <XyChart label={`${shown === 'mass' ? 'mass' : 'deviation from the mean of the set'} against pulse width at ${where}`} xTitle="Pulse width, ms" yTitle={title} series={series} joined zero tall />
        {shown === 'percent' && <p className="small quiet">The mean at a width is of the injectors that have a mass there. What an instrument does to all of them alike is no part of a deviation.</p>}
      </Section>
      <Section title="Numbers" wide>
        <FigureTable
          caption={`${title}, ${where}; ± is the expanded uncertainty (95 %), in ${unit}`}
          columns={['Pulse width, ms', ...rows.map((r) => <SerialLink key={r.injector} of={r.serialNumber} />)]}
          rows={widths.map((width) => ({
            key: String(width),
            head: plain(width * 1e3),
            cells: rows.map((r) => {
              const found = r.figures.get(width);
              return found === undefined ? <Missing key={r.injector} why={r.why === '' ? 'Not measured at this width.' : r.why} /> : plusMinus(convert(found.value), through(convert, found.u95), shown === 'percent');
            }),
          }))}
        />
        <MissingList of={rows.filter((r) => r.why !== '').map((r) => ({ where: r.serialNumber, why: r.why }))} />
      </Section>
    </>
  );
}
