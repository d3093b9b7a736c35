import { quantityText } from '../../settings/quantities.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { useMemo } from 'react';
import { Notice } from '../../components/status.tsx';
import { Section } from '../../components/page.tsx';
import { attemptKey } from '../../components/attempts.ts';
import type { AttemptEnd } from './attempts.ts';
import { timeOfDay } from '../../components/dates.ts';
import { driftOf, trendAt } from '../../../app/results/drift.ts';
import type { DriftTrend } from '../../../app/results/drift.ts';
import { FigureTable, Missing, MissingList } from './figure-table.tsx';
import { briefShown as brief, plainShown as plain, plusMinusShown as plusMinus } from '../../components/figures.ts';
import { amountsFor } from './amounts.ts';
import { referenceDensity } from './results.ts';
import type { Series } from './series.ts';
import { StabilityPart } from './stability-part.tsx';
import type { ViewProps } from './view-props.ts';
import { useUnits } from '../../settings/units.ts';
import { XyChart } from './xy-chart.tsx';

/** Whether the bench stayed as it was: over the run, and while one point was held. */
export function DriftPanel({ id, state, ...props }: ViewProps & { readonly id: string; readonly state: RunState | null; readonly ends: ReadonlyMap<string, AttemptEnd> }) {
  return (
    <>
      <ReferenceDrift {...props} />
      {state !== null && <StabilityPart key={id} id={id} state={state} />}
    </>
  );
}

/** The reference point, measured again and again through the run. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
function ReferenceDrift({ results, ends }: ViewProps & { readonly ends: ReadonlyMap<string, AttemptEnd> }) {
  const { reference } = results.plan;
  const drift = useMemo(
    () =>
      driftOf(
        results.masses,
        results.masses.flatMap(({ point, attempt }) => {
          const end = ends.get(attemptKey(point, attempt));
          return end === undefined ? [] : [{ point, attempt, time: end.at / 1e3 }];
        }),
      ),
    [results, ends],
  );
  const units = useUnits(reference === undefined ? null : referenceDensity(results, reference.pressureKpa * 1e3));
  const amounts = amountsFor(units, (reference?.periodMs ?? 1) * 1e-3);
  if (reference === undefined) {
    return (
      <Notice tone="note">
        The plan of this run has no reference point, so drift over the run was not watched. Give the next plan a reference point: one injector at one voltage and width that is measured again at
        regular intervals.
      </Notice>
    );
  }
  if (drift.rows.length === 0) return <Notice tone="note">No reference point has an attempt that counts yet.</Notice>;
  const { trend } = drift;
  const start = drift.rows[0]?.time ?? 0;
  const last = drift.rows.at(-1)?.time ?? 0;
  const inMinutes = last - start < 7200;
  const since = (time: number): number => (time - start) / (inMinutes ? 60 : 3600);
  const series: readonly Series[] = [
    {
      id: 'reference',
      title: 'Reference point',
      look: 0,
      points: drift.rows.flatMap(({ time, deviationPercent: d, u95Percent: u }) =>
        d === null ? [] : [{ x: since(time), y: d, low: u === null ? null : d - u, high: u === null ? null : d + u }],
      ),
    },
  ];
  const what = `${reference.injector} at ${plain(reference.voltageV)} V, ${quantityText(reference.pressureKpa, 'kPa')}, ${plain(reference.widthMs)} ms`;
  return (
    <>
      <p>
        {trend.kind === 'no-drift'
          ? trend.text
          : trend.verdict === 'none'
            ? `No drift is shown: the trend is ${perHour(trend)} % an hour, inside its uncertainty.`
            : `The reference point moved by ${perHour(trend)} % an hour, ${brief(Math.abs(trend.overRunPercent.value))} % over the run, ${trend.text}. Look for what changed (fluid temperature, meter, leak, the injector itself) before these results are used.`}
        {drift.sdPercent !== null && ` The reference masses scatter by ${brief(drift.sdPercent)} % (standard deviation).`}
      </p>
      <Section title={`Reference point over the run: ${what}`} wide>
        <XyChart
          label={`mass of the reference point against time, ${what}`}
          xTitle={inMinutes ? 'Since the first, min' : 'Since the first, h'}
          yTitle="From the mean, %"
          series={series}
          zero
          lines={trend.kind === 'no-drift' ? [] : [{ title: 'Trend', from: { x: 0, y: trendAt(trend, start) }, to: { x: since(last), y: trendAt(trend, last) } }]}
        />
      </Section>
      <Section title="Numbers" wide>
        <FigureTable
          caption={`Reference point over the run: ${what}; ± is 95 % of the scatter inside the window`}
          columns={['Time', inMinutes ? 'Since the first, min' : 'Since the first, h', amounts.pulseTitle, 'From the mean, %', 'Point, attempt']}
          rows={drift.rows.map((r) => ({
            key: attemptKey(r.point, r.attempt),
            head: timeOfDay(r.time * 1e3),
            cells: [
              since(r.time).toFixed(inMinutes ? 1 : 2),
              r.mass === null ? <Missing key="mass" why={r.why} /> : plusMinus(amounts.pulse(r.mass), r.u95Percent === null ? null : (amounts.pulse(r.mass) * r.u95Percent) / 100),
              r.deviationPercent === null ? <Missing key="deviation" why={r.why} /> : plusMinus(r.deviationPercent, r.u95Percent, true),
              `${shownPoint(r.point)}, ${r.attempt}`,
            ],
          }))}
        />
        <MissingList of={drift.rows.filter((r) => r.mass === null).map((r) => ({ where: `Point ${shownPoint(r.point)}`, why: r.why }))} />
      </Section>
    </>
  );
}

function perHour({ percentPerHour: { value, expanded } }: Extract<DriftTrend, { kind: 'drift' }>): string {
  return plusMinus(value, expanded, true);
}
