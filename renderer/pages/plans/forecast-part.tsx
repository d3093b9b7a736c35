import { useEffect, useMemo, useRef, useState } from 'react';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Bought, Forecast } from '../../../app/schedule/forecast.ts';
import { forecastRows } from '../../../app/schedule/forecast-rows.ts';
import type { ForecastRow } from '../../../app/schedule/forecast-rows.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { decimals } from '../../components/decimals.ts';
import { roughDuration } from '../../components/durations.ts';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { XyChart } from '../results/xy-chart.tsx';
import '../results/results.css';
import type { ForecastAnswer, ForecastAsked } from './forecast-worker.ts';
import { curveSeries, shownRow } from './forecast-view.ts';

const columns: readonly Column<ForecastRow>[] = [
  { key: 'place', title: 'Of', width: 'minmax(7.5rem, 1fr)', cell: (row) => row.place },
  { key: 'expanded', title: 'U95 expected', width: '7rem', numeric: true, cell: (row) => row.expanded },
  { key: 'least', title: 'Instruments alone', width: '8rem', numeric: true, cell: (row) => row.least },
  { key: 'wanted', title: 'Wanted', width: '5rem', numeric: true, cell: (row) => row.wanted },
  { key: 'standing', title: '', width: '8rem', cell: (row) => row.standing },
  { key: 'largest', title: 'Largest part that no window takes off', width: 'minmax(16rem, 2.4fr)', cell: (row) => <span className="one-line">{row.largest}</span> },
];

interface Worked {
  readonly plan: Plan;
  readonly forecast: Forecast | null;
  readonly curve: readonly Bought[];
  readonly state: 'working' | 'done' | 'failed';
  /** Why the curve is not there, or why nothing is. */
  readonly why: string;
}

/** What the plan will come to, before anything is measured: hours, U95 of each cell, what no effort reaches and why, and the curve of hours against U95. WIN-162 */
export function ForecastPart({ plan, equipment }: { readonly plan: Plan | null; readonly equipment: Equipment | null }) {
  const [worked, setWorked] = useState<Worked | null>(null);
  const worker = useRef<Worker | null>(null);
  useEffect(() => () => worker.current?.terminate(), []);
  const workOut = (): void => {
    if (plan === null || equipment === null) return;
    worker.current?.terminate();
    const made = new Worker(new URL('./forecast-worker.ts', import.meta.url), { type: 'module' });
    worker.current = made;
    setWorked({ plan, forecast: null, curve: [], state: 'working', why: '' });
    const change = (next: (before: Worked) => Partial<Worked>): void => setWorked((before) => (before === null ? null : { ...before, ...next(before) }));
    const end = (state: 'done' | 'failed', why: string): void => {
      change(() => ({ state, why }));
      made.terminate();
    };
    made.onmessage = ({ data }: MessageEvent<ForecastAnswer>) => {
      if (data.kind === 'forecast') change(() => ({ forecast: data.forecast }));
      else if (data.kind === 'bought') change(({ curve }) => ({ curve: [...curve, data.bought] }));
      else if (data.kind === 'done') end('done', data.why);
      else end('failed', data.text);
    };
    made.onerror = (event) => end('failed', event.message);
    made.postMessage({ plan, equipment } satisfies ForecastAsked);
  };
  const against = plan === null ? 'The plan has problems.' : equipment === null ? 'The equipment record is being read.' : worked?.state === 'working' ? 'It is being worked out.' : '';
  return (
    <Section
      title="What to expect"
      wide
      aside={
        <Button against={against} onPress={workOut}>
          {worked === null ? 'Work it out' : 'Work it out anew'}
        </Button>
      }
    >
      <p className="small quiet">The plan is played on a bench as it is expected, with the instruments of the equipment record: it compares plans, and says what no effort reaches. What a run states is worked out from what it measured.</p>
      {worked !== null && worked.state === 'failed' && <Notice tone="bad">It could not be worked out. {worked.why}</Notice>}
      {worked !== null && plan !== null && worked.plan !== plan && <Notice tone="note">The plan has changed since.</Notice>}
      {worked?.state === 'working' && <p role="status">{worked.forecast === null ? 'It is being worked out.' : `The curve is being worked out: ${worked.curve.length} of its hours so far.`}</p>}
      {worked !== null && worked.forecast !== null && <Shown worked={worked} forecast={worked.forecast} />}
    </Section>
  );
}

function Shown({ worked: { curve, state, why }, forecast }: { readonly worked: Worked; readonly forecast: Forecast }) {
  const rows = useMemo(() => forecastRows(forecast).map(shownRow), [forecast]);
  return (
    <>
      <p>
        About <strong>{roughDuration(forecast.hours * 3600)}</strong> of bench time, {forecast.points} points.
      </p>
      <DataTable label="Expected uncertainty" columns={columns} rows={rows} rowKey={(row) => row.place} empty="–" maxHeight="22rem" />
      {state === 'done' && why !== '' && <p className="small quiet">There is no curve of hours: {shownText(why)}</p>}
      {curve.length > 1 && (
        <>
          <h3>Hours against U95</h3>
          <p className="small quiet">The same axes, measured where the worst cell gains most until the hours are spent, in place of a fixed number of replicates: the largest U95 of all injectors.</p>
          <XyChart label="U95 of dead times against hours of bench time" xTitle="Bench time, h" yTitle="U95 of the dead time, µs" series={curveSeries(curve)} joined />
          <CurveTable curve={curve} />
        </>
      )}
    </>
  );
}

function CurveTable({ curve }: { readonly curve: readonly Bought[] }) {
  const series = curveSeries(curve);
  return (
    <table className="plain">
      <caption className="unseen">U95 of dead times in µs that hours of bench time buy</caption>
      <thead>
        <tr>
          <th scope="col">Hours at most</th>
          <th scope="col" className="numeric">
            Taken
          </th>
          {series.map(({ id, title }) => (
            <th key={id} scope="col" className="numeric">
              {title}, µs
            </th>
          ))}
        </tr>
      </thead>
      <tbody>
        {curve.map(({ hours, took, cells }) => (
          <tr key={hours}>
            <th scope="row">{decimals(String(hours))}</th>
            <td className="numeric">{decimals(took.toFixed(2))}</td>
            {cells.map(({ voltage, pressure, expanded }) => (
              <td key={`${voltage} ${pressure}`} className="numeric">
                {expanded === null ? '–' : decimals((expanded * 1e6).toFixed(1))}
              </td>
            ))}
          </tr>
        ))}
      </tbody>
    </table>
  );
}
