import { useMemo } from 'react';
import type { RunState } from '../../../app/journal/state.ts';
import { heldKey } from '../../../app/results/held.ts';
import { noiseWords, stabilityWords } from '../../../app/results/stability-words.ts';
import { briefShown as brief, plainShown as plain } from '../../components/figures.ts';
import { Section } from '../../components/page.tsx';
import { shownText } from '../../components/shown-text.ts';
import { Notice } from '../../components/status.tsx';
import { quantityText } from '../../settings/quantities.ts';
import { FigureTable } from './figure-table.tsx';
import type { Series } from './series.ts';
import { useStability, type StabilityTold } from './use-stability.ts';
import { XyChart } from './xy-chart.tsx';

type OfSignal = StabilityTold['signals'][number];

/** How scatter goes down with the length of a window, from the point that the run held longest. WIN-200 */
export function StabilityPart({ id, state }: { readonly id: string; readonly state: RunState }) {
  const key = useMemo(() => heldKey(state), [state]);
  const { told, problem } = useStability(id, key);
  const at = told?.at ?? null;
  return (
    <Section title={at === null ? 'Stability of a held point' : `Stability of a held point: ${at.serialNumber} at ${plain(at.voltage)} V, ${quantityText(at.pressure / 1e3, 'kPa')}, ${plain(at.width * 1e3)} ms of ${plain(at.period * 1e3)} ms`} wide>
      {problem !== '' && <Notice tone="bad">The stability could not be worked out. {problem}</Notice>}
      {told === null && problem === '' && <Notice tone="busy">The frames of the longest windows are being read.</Notice>}
      {told !== null && at === null && <Notice tone="off">{shownText(told.text)}</Notice>}
      {told !== null && at !== null && <SignalsOf told={told} follows={state.mode !== 'ended'} />}
    </Section>
  );
}

function SignalsOf({ told, follows }: { readonly told: StabilityTold; readonly follows: boolean }) {
  const [mass, ...others] = told.signals;
  return (
    <>
      <p className="small">
        {told.windows === 1 ? 'One window' : `${told.windows} windows`}, {plain(told.duration)} s in steps of {plain(told.step)} s. The Allan deviation tells by how much two averages of the same length that follow each other differ. A plan takes a window length from it only by hand (“Window, at least”).{follows ? ' The run goes on: it is worked out again as windows come that tell more.' : ''}
      </p>
      {mass !== undefined && <p>{shownText(mass.pays)} {shownText(mass.drift)}</p>}
      {mass !== undefined && <SignalOf of={mass} />}
      {others.map((one) => (
        <details key={one.signal} className="small">
          <summary>{stabilityWords[one.signal].name}: {shownText(one.pays)}</summary>
          <p>{shownText(one.drift)}</p>
          <SignalOf of={one} />
        </details>
      ))}
    </>
  );
}

function SignalOf({ of: { signal, rows } }: { readonly of: OfSignal }) {
  const { name, unit, times } = stabilityWords[signal];
  const series: readonly Series[] = [{ id: signal, title: name, look: 0, points: rows.map((r, i) => ({ x: i, y: r.deviation * times, low: r.low * times, high: r.high * times })) }];
  return (
    <>
      <XyChart label={`Allan deviation over averaging time: ${name.toLowerCase()}`} xTitle="Averaging time, s" yTitle={`Deviation, ${unit}`} series={series} xNames={rows.map((r) => plain(r.time))} joined logarithmic />
      <FigureTable
        caption={`Allan deviation: ${name.toLowerCase()}`}
        columns={['Averaging time, s', `Deviation, ${unit}`, `95 % interval, ${unit}`, 'Degrees of freedom', 'Noise']}
        words={[3]}
        narrow
        rows={rows.map((r) => ({ key: String(r.time), head: plain(r.time), cells: [brief(r.deviation * times, 3), `${brief(r.low * times, 3)} to ${brief(r.high * times, 3)}`, r.dof.toFixed(0), noiseWords[r.noise]] }))}
      />
    </>
  );
}
