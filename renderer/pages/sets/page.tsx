import { useMemo, useRef, useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { dateTimeText } from '../../components/dates.ts';
import { endingWords } from '../../../app/run/ending.ts';
import { endingTone, knownEnding } from '../../components/endings.ts';
import { TextInput } from '../../components/field.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { pathTo } from '../../address/route.ts';
import { ask, useWhenUp } from '../../host/host.ts';
import { MatchPart } from '../results/match-part.tsx';
import '../results/results.css';

/** As many as one choice takes. */
const mostRuns = 60;

/** Sets of alike injectors out of stock: out of any runs of the archive, over orders. WIN-63 */
export default function SetsPage() {
  const [text, setText] = useState('');
  const [runs, setRuns] = useState<readonly RunRow[] | null>(null);
  const [problem, setProblem] = useState('');
  const [chosen, setChosen] = useState<readonly string[]>([]);
  const latest = useRef('');
  const load = async (find: string): Promise<void> => {
    latest.current = find;
    const reply = await ask('runs.list', { limit: 200, ...(find.trim() === '' ? {} : { text: find.trim() }) });
    // A later search has overtaken this one.
    if (latest.current !== find) return;
    if (reply.ok) setRuns(reply.value);
    setProblem(reply.ok ? '' : reply.failure.text);
  };
  useWhenUp(() => void load(text));
  const columns = useMemo((): readonly Column<RunRow>[] => [
    {
      key: 'tick', title: 'Use', width: '4rem',
      cell: (run) => (
        <input
          type="checkbox"
          aria-label={`Use the run ${run.planName} of ${dateTimeText(run.createdAt)}`}
          checked={chosen.includes(run.id)}
          onChange={(event) => setChosen(event.target.checked ? [...chosen, run.id] : chosen.filter((id) => id !== run.id))}
        />
      ),
    },
    { key: 'at', title: 'Begun', width: '11rem', cell: (run) => dateTimeText(run.createdAt), sortBy: (run) => run.createdAt },
    { key: 'order', title: 'Job', width: '10rem', cell: (run) => run.order, sortBy: (run) => run.order },
    { key: 'plan', title: 'Plan', width: 'minmax(12rem, 1fr)', cell: (run) => <a href={pathTo('results', run.id)}>{run.planName}</a>, sortBy: (run) => run.planName },
    { key: 'points', title: 'Valid points', width: '9rem', numeric: true, cell: (run) => `${run.counting} of ${run.points}`, sortBy: (run) => run.counting },
    { key: 'ending', title: 'State', width: '14rem', cell: (run) => <Status tone={endingTone(knownEnding(run.ending))}>{endingWords(knownEnding(run.ending))}</Status> },
  ], [chosen]);
  return (
    <Page title="Sets" lead="Sets of alike injectors out of any runs of the archive, whatever job they were measured for.">
      <Section title={chosen.length === 0 ? 'Runs' : `Runs: ${chosen.length} chosen`} wide>
        <div className="field-row match-wanted">
          <TextInput label="Job, plan, serial number or type" value={text} onChange={(next) => {
            setText(next);
            void load(next);
          }} />
          <Button against={runs === null || runs.length === 0 ? 'There is no run in the list.' : ''} onPress={() => setChosen([...new Set([...chosen, ...(runs ?? []).map((run) => run.id)])].slice(0, mostRuns))}>Use all of the list</Button>
          <Button kind="quiet" against={chosen.length === 0 ? 'No run is chosen.' : ''} onPress={() => setChosen([])}>Use none</Button>
        </div>
        {problem !== '' && <Notice tone="bad">The runs could not be listed. {problem}</Notice>}
        {chosen.length > mostRuns && <Notice tone="bad">One choice takes {mostRuns} runs at most.</Notice>}
        <DataTable label="Runs to choose injectors from" columns={columns} rows={runs ?? []} rowKey={(run) => run.id} maxHeight="17rem" empty={runs === null ? 'The runs are being listed.' : 'No run is like that.'} />
        <p className="small quiet">An injector that was measured in several of the runs stands with the newest that has a value at every place.</p>
      </Section>
      <MatchPart runs={chosen} />
    </Page>
  );
}
