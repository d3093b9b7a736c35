import { useMemo } from 'react';
import { Notice, Status } from '../../components/status.tsx';
import { Section } from '../../components/page.tsx';
import type { LineCell } from '../../../app/reduce/reduction.ts';
import { through } from './amounts.ts';
import type { Amounts } from './amounts.ts';
import { LineBudgetTable } from './budget-table.tsx';
import { FigureTable } from './figure-table.tsx';
import { briefShown as brief, figureShown as figure, plainShown as plain, plusMinusShown as plusMinus, minusShown as trueMinus, signShown as withSign } from '../../components/figures.ts';
import { widthRows } from '../../../app/results/widths.ts';
import { fitSentence, regionSentence } from './line-view.ts';
import { InjectorPicker, VoltagePicker } from './pickers.tsx';
import type { Series } from './series.ts';
import type { ViewProps } from './view-props.ts';
import { XyChart } from './xy-chart.tsx';

/** Mass against width for one injector and voltage, with the line, what it leaves over, and the budgets of its results. */
export function LinePanel({ selection, onWish, amounts }: ViewProps) {
  const { cell } = selection;
  return (
    <>
      <div className="field-row">
        <InjectorPicker selection={selection} onWish={onWish} />
        <VoltagePicker selection={selection} onWish={onWish} />
      </div>
      {cell.kind === 'no-line' ? (
        <Notice tone="note">
          {cell.serialNumber} has no line at {plain(cell.voltage)} V. {cell.text} Measure the missing or failed points again on the Run page, or look at Attempts for what was left out and why.
        </Notice>
      ) : (
        <LineOf cell={cell} amounts={amounts} />
      )}
    </>
  );
}

// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
function LineOf({ cell, amounts }: { readonly cell: LineCell; readonly amounts: Amounts }) {
  const rows = useMemo(() => widthRows(cell), [cell]);
  const { pulse, slope } = amounts;
  const where = `${cell.serialNumber} at ${plain(cell.voltage)} V`;
  const last = rows.at(-1);
  const masses = useMemo((): readonly Series[] => {
    const point = (value: number, u: number | null, ms: number) => ({ x: ms, y: value, low: u === null ? null : value - u, high: u === null ? null : value + u });
    return [
      { id: 'on', title: 'In the line', look: 0, points: rows.filter((r) => r.inRegion).map((r) => point(pulse(r.mass.value), through(pulse, r.mass.u95), r.width * 1e3)) },
      { id: 'off', title: 'Left out of the line', look: 1, points: rows.filter((r) => !r.inRegion).map((r) => point(pulse(r.mass.value), through(pulse, r.mass.u95), r.width * 1e3)) },
    ].filter((s) => s.points.length > 0);
  }, [rows, pulse]);
  const residuals = useMemo((): readonly Series[] => {
    const of = (inRegion: boolean) =>
      rows.flatMap((r) => {
        if (r.inRegion !== inRegion || r.deviationPercent === null) return [];
        const { value: d, u95: u } = r.deviationPercent;
        return [{ x: r.width * 1e3, y: d, low: u === null ? null : d - u, high: u === null ? null : d + u }];
      });
    return [
      { id: 'on', title: 'In the line', look: 0, points: of(true) },
      { id: 'off', title: 'Left out of the line', look: 1, points: of(false).filter((p) => Math.abs(p.y) < farOff) },
    ].filter((s) => s.points.length > 0);
  }, [rows]);
  const far = rows.filter((r) => !r.inRegion && (r.deviationPercent === null || Math.abs(r.deviationPercent.value) >= farOff)).length;
  const { from, to } = cell.region;
  const band = useMemo(() => ({ title: 'Region of the line', from: from * 1e3, to: to * 1e3 }), [from, to]);
  const { value: deadTime } = cell.deadTime;
  const lines = useMemo(
    () => (last === undefined ? [] : [{ title: 'Line m (PW − X)', from: { x: deadTime * 1e3, y: 0 }, to: { x: last.width * 1e3, y: pulse(last.line) } }]),
    [last, deadTime, pulse],
  );
  const { deadTimeInterval: interval } = cell;
  return (
    <>
      <dl className="headline">
        <div>
          <dt>Dead time X</dt>
          <dd>
            {plusMinus(cell.deadTime.value * 1e3, cell.deadTime.expanded * 1e3)} <span>ms</span>
          </dd>
          {interval.method === 'fieller' && (
            <dd className="small quiet">
              95 %: {figure(interval.low * 1e3, cell.deadTime.expanded * 1e3)} to {figure(interval.high * 1e3, cell.deadTime.expanded * 1e3)} ms, not symmetric (Fieller)
            </dd>
          )}
        </div>
        <div>
          <dt>Slope m</dt>
          <dd>
            {plusMinus(slope(cell.slope.value), slope(cell.slope.expanded))} <span>{amounts.slopeUnit}</span>
          </dd>
        </div>
        {cell.staticToSlope !== null && (
          <div>
            <dt>Static flow over slope</dt>
            <dd>{plusMinus(cell.staticToSlope.value, cell.staticToSlope.expanded)}</dd>
          </div>
        )}
        {cell.flowRange !== null && (
          <div>
            <dt>Flow range inside {plain(cell.flowRange.limitPercent)} %</dt>
            <dd>
              {brief(cell.flowRange.ratio, 3)} <span>to 1</span>
            </dd>
            <dd className="small quiet">
              {plain(cell.flowRange.from * 1e3)} to {plain(cell.flowRange.to * 1e3)} ms
            </dd>
          </div>
        )}
        <div>
          <dt>Windows</dt>
          <dd>{cell.sources.length}</dd>
        </div>
      </dl>
      <p>
        {regionSentence(cell)} {fitSentence(cell)}
      </p>
      <div className="sections results-pair">
        <Section title={`Mass against width, ${where}`}>
          <XyChart
            label={`mass against width, ${where}`}
            xTitle="Pulse width, ms"
            yTitle={amounts.pulseTitle}
            series={masses}
            band={band}
            zero
            lines={lines}
          />
        </Section>
        <Section title={`Residuals from the line, ${where}`}>
          <XyChart label={`deviation from the line, ${where}`} xTitle="Pulse width, ms" yTitle="Deviation from the line, %" series={residuals} band={band} zero />
          <p className="small quiet">
            The intervals hold the scatter only: an error of an instrument moves masses and line alike.
            {far > 0 && ` ${far} short ${far === 1 ? 'width lies' : 'widths lie'} ${farOff} % or more off the line and ${far === 1 ? 'stands' : 'stand'} in the table only.`}
          </p>
        </Section>
      </div>
      <Section title={`Numbers, ${where}`} wide>
        <FigureTable
          caption={`Mass against width and deviation from the line, ${where}; ± is the expanded uncertainty (95 %)`}
          columns={['Pulse width, ms', 'Windows', amounts.pulseTitle, `Line, ${amounts.pulseUnit}`, 'Deviation from the line, %', 'In the line']}
          words={[4]}
          rows={rows.map((r) => ({
            key: String(r.width),
            head: plain(r.width * 1e3),
            cells: [
              r.windows,
              plusMinus(pulse(r.mass.value), through(pulse, r.mass.u95)),
              figure(pulse(r.line), through(pulse, r.mass.u95)),
              r.deviationPercent === null ? '– (the line is not above zero here)' : plusMinus(r.deviationPercent.value, r.deviationPercent.u95, true),
              <Status key="in" tone={r.inRegion ? 'good' : 'off'}>
                {r.inRegion ? 'yes' : 'no'}
              </Status>,
            ],
          }))}
        />
      </Section>
      <Section title={`Uncertainty of the dead time, ${where}`}>
        <LineBudgetTable cell={cell} of="deadTime" unit="µs" convert={(s) => s * 1e6} />
        <p className="small quiet">
          Already made: the windows were referred to the plan's voltage ({shift(cell.referred.toVoltage)} µs), pressure ({shift(cell.referred.toPressure)} µs) and
          reference temperature ({shift(cell.referred.toTemperature)} µs).
        </p>
      </Section>
      <Section title={`Uncertainty of the slope, ${where}`}>
        <LineBudgetTable cell={cell} of="slope" unit={amounts.slopeUnit} convert={slope} />
      </Section>
    </>
  );
}

/** A change of dead time, µs. */
const shift = (seconds: number): string => withSign(trueMinus((seconds * 1e6).toFixed(2)));

/** Deviations beyond this would flatten everything else in the chart, percent. */
const farOff = 25;
