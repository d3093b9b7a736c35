import { useMemo, useState } from 'react';
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { plain, plusMinus } from '../../../app/quantities/figures.ts';
import { shownQuantities } from '../../../app/results/agreement.ts';
import { goTo, pathTo } from '../../address/route.ts';
import { Button } from '../../components/button.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { Choice } from '../../components/field.tsx';
import { Page, Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { Notice, Status } from '../../components/status.tsx';
import { ask, useWhenUp } from '../../host/host.ts';
import { FigureTable } from '../results/figure-table.tsx';
import type { Series } from '../results/series.ts';
import { XyChart } from '../results/xy-chart.tsx';
import '../results/results.css';
import { lifeCsv, placeText } from './life-view.ts';
import type { Life, ShownPlace } from './life-view.ts';
import { Questions } from '../results/questions.tsx';
import { VisitsPart } from './visits-part.tsx';

/** One injector over all jobs: what was found and written of it at each visit, its runs, and how it changed. WIN-64 */
export function InjectorLife({ serialNumber }: { readonly serialNumber: string }) {
  const [life, setLife] = useState<Life | null>(null);
  const [problem, setProblem] = useState('');
  const read = (): void => {
    void ask('injector.life', { serialNumber }).then((reply) => {
      if (reply.ok) setLife(reply.value);
      setProblem(reply.ok ? '' : reply.failure.text);
    });
  };
  useWhenUp(read);
  return (
    <Page
      title={`Injector ${serialNumber}`}
      lead="Over all jobs: what was found at each visit, every run, and how it changed since its first."
      actions={
        <>
          {life !== null && life.places.length > 0 && <Button onPress={() => saveFile(`injector-${serialNumber.replaceAll(/[^\p{L}\p{N}.-]+/gu, '-')}.csv`, [lifeCsv(serialNumber, life)])}>Save as CSV</Button>}
          <Button onPress={() => goTo('injectors')}>All injectors</Button>
        </>
      }
    >
      {problem !== '' && <Notice tone="bad">The injector could not be read. {problem}</Notice>}
      {life === null && problem === '' && <Notice tone="busy">The runs of this injector are being read and reduced.</Notice>}
      {life !== null && life.unread.length > 0 && <Notice tone="note">Left out, because they cannot be read: {life.unread.join(', ')}. The page Archive checks the archive.</Notice>}
      {life !== null && <Questions about={life.questions} />}
      {life !== null && <VisitsPart serialNumber={serialNumber} life={life} onKept={read} />}
      {life !== null && <BookedIn visits={life.visits} />}
      {life !== null && (life.places.length === 0 ? <Notice tone="off">No run has a result of this injector yet.</Notice> : <Changes serialNumber={serialNumber} life={life} />)}
    </Page>
  );
}

function BookedIn({ visits }: { readonly visits: AnswerTo<'injector.life'>['visits'] }) {
  if (visits.length === 0) return <Notice tone="off">It was never booked in on the page Injectors under this serial number.</Notice>;
  return (
    <Section title="Booked in" wide>
      <FigureTable
        caption="What was saved of it, the oldest first; an entry holds until the next"
        columns={['Saved', 'Job', 'Type', 'Coil resistance, Ω', 'Condition', 'Channel']}
        words={[0, 1, 3]}
        rows={visits.map((visit, i) => ({
          key: String(i), head: dateTimeText(visit.savedAt),
          cells: [visit.order === '' ? '–' : visit.order, visit.type, visit.coilResistanceOhm === null ? '–' : plain(visit.coilResistanceOhm), visit.condition === '' ? '–' : visit.condition, visit.channel === null ? 'not mounted' : visit.channel],
        }))}
      />
    </Section>
  );
}

const hour = 3_600_000;
const day = 24 * hour;

function Changes({ serialNumber, life: { runs, places } }: { readonly serialNumber: string; readonly life: Life }) {
  const [chosen, setChosen] = useState(0);
  const place = places[chosen] ?? places[0];
  const byRun = useMemo(() => new Map(runs.map((run) => [run.run, run])), [runs]);
  if (place === undefined) return null;
  const shown = shownQuantities[place.quantity];
  const runOf = (id: string): Life['runs'][number] | undefined => byRun.get(id);
  const [at, last] = [place.results[0], place.results.at(-1)].map((r) => runOf(r?.run ?? '')?.at ?? 0);
  const scale = (last ?? 0) - (at ?? 0) < 2 * day ? { title: 'Hours since the first run', ms: hour } : { title: 'Days since the first run', ms: day };
  const others = place.results.filter((r) => r.change !== null);
  const apart = others.filter((r) => Math.abs(r.change?.value ?? 0) > (r.change?.expanded ?? 0)).length;
  return (
    <>
      <div className="field-row">
        <Choice label="Result" value={String(chosen)} options={places.map((one, i) => ({ value: String(i), text: placeText(one) }))} onChange={(value) => setChosen(Number(value))} />
      </div>
      <Section title={`Change since its first run: ${placeText(place)}`} wide>
        {others.length === 0 ? (
          <Notice tone="off">There is one run with this result so far. A second one shows whether it changes.</Notice>
        ) : (
          <>
            <p>
              {apart === 0 ? 'No change is larger than its uncertainty.' : `${apart} of ${others.length} changes ${apart === 1 ? 'is larger than its' : 'are larger than their'} uncertainty; chance alone makes one in twenty so.`} Errors of instruments that are the same in both runs are
              taken out by name.
            </p>
            <XyChart label={`change of ${placeText(place)} of ${serialNumber} since its first run`} xTitle={scale.title} yTitle={`Change, ${shown.unit}`} series={seriesOf(place, runOf, { y: shown.factor, ms: scale.ms })} joined zero />
          </>
        )}
      </Section>
      <Section title={`Runs: ${placeText(place)}`} wide>
        <FigureTable
          caption={`${placeText(place)} of ${serialNumber} in ${shown.unit}; ± is the expanded uncertainty (95 %), that of a change by itself`}
          columns={['Run', 'Job', 'Plan', `Result, ${shown.unit}`, `Change since the first, ${shown.unit}`, 'Larger than its uncertainty', 'Traceable']}
          words={[0, 1, 4, 5]}
          rows={place.results.map(({ run, value, expanded, change }) => {
            const about = runOf(run);
            return {
              key: run,
              head: <a href={pathTo('results', run)}>{about === undefined ? run : dateTimeText(about.at)}</a>,
              cells: [
                about?.order ?? '', about?.planName ?? '', plusMinus(value * shown.factor, expanded * shown.factor),
                change === null ? 'first' : plusMinus(change.value * shown.factor, change.expanded * shown.factor, true),
                change === null ? '' : <Status key="larger" tone={Math.abs(change.value) > change.expanded ? 'note' : 'off'}>{Math.abs(change.value) > change.expanded ? 'yes' : 'no'}</Status>,
                about?.traceable === false ? <Status key="trace" tone="note">no</Status> : 'yes',
              ],
            };
          })}
        />
      </Section>
    </>
  );
}

function seriesOf(place: ShownPlace, runOf: (id: string) => Life['runs'][number] | undefined, scale: { readonly y: number; readonly ms: number }): readonly Series[] {
  const began = runOf(place.results[0]?.run ?? '')?.at ?? 0;
  return [{
    id: 'change', title: 'Change since the first run', look: 0,
    points: place.results.map(({ run, change }) => {
      const { value, expanded } = change ?? { value: 0, expanded: 0 };
      return { x: ((runOf(run)?.at ?? began) - began) / scale.ms, y: value * scale.y, low: change === null ? null : (value - expanded) * scale.y, high: change === null ? null : (value + expanded) * scale.y };
    }),
  }];
}
