import { useEffect, useMemo, useRef, useState, useSyncExternalStore } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { DayInput, TextInput } from '../../components/field.tsx';
import { Page, Section } from '../../components/page.tsx';
import { Notice, Status } from '../../components/status.tsx';
import { useRoute } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { dateTimeText } from '../../components/dates.ts';
import { endingTone, knownEnding } from '../../components/endings.ts';
import { endingWords } from '../../../app/run/ending.ts';
import { ArchiveCare } from './archive-care.tsx';
import '../results/one-line.css';
import './archive.css';
import { ChosenRun } from './chosen-run.tsx';
import { boundsOf, everyRun, localMidnight } from './query.ts';
import type { Query } from './query.ts';
import { RunPages } from './run-pages.ts';
import { countText } from './words.ts';

/** Typing is followed by a search once it rests for so long. */
const restMs = 200;

/** All runs that were ever made here: find, open, compare, export, back up. */
// eslint-disable-next-line max-lines-per-function -- mostly markup, in the order in which the page shows it
export default function ArchivePage() {
  const { openRun } = useHost();
  const { rest } = useRoute();
  const wanted = rest[0] === 'find' ? (rest[1] ?? '') : '';
  const [query, setQuery] = useState<Query>(() => (wanted === '' ? everyRun : { ...everyRun, text: wanted }));
  const [asked, setAsked] = useState(wanted);
  // Another link to this page, while it is shown.
  if (asked !== wanted) {
    setAsked(wanted);
    setQuery(wanted === '' ? everyRun : { ...everyRun, text: wanted });
  }
  const [chosen, setChosen] = useState<RunRow | null>(null);
  const [kept, setKept] = useState<RunRow | null>(null);
  const { view, search, next } = useRunPages();
  const bounds = useMemo(() => boundsOf(query, localMidnight), [query]);
  useWhenUp(() => search(query));
  const first = useRef(true);
  useEffect(() => {
    // The first search is made when the line is up.
    if (first.current) {
      first.current = false;
      return undefined;
    }
    const handle = setTimeout(() => search(query), restMs);
    return () => clearTimeout(handle);
  }, [query, search]);
  const columns = useMemo(
    (): readonly Column<RunRow>[] => [
      { key: 'at', title: 'Begun', width: '11rem', cell: (run) => dateTimeText(run.createdAt) },
      { key: 'order', title: 'Job', width: 'minmax(7rem, 1fr)', cell: (run) => <span className="one-line">{run.order === '' ? '–' : run.order}</span> },
      { key: 'plan', title: 'Plan', width: 'minmax(14rem, 3fr)', cell: (run) => <span className="one-line">{run.planName}</span> },
      { key: 'operator', title: 'Operator', width: 'minmax(7rem, 1fr)', cell: (run) => <span className="one-line">{run.operator}</span> },
      { key: 'points', title: 'Valid points', width: '8.5rem', numeric: true, cell: (run) => `${run.counting} of ${run.points}` },
      { key: 'attempts', title: 'Attempts', width: '5.5rem', numeric: true, cell: (run) => run.attempts },
      {
        key: 'ending',
        title: 'State',
        width: '14rem',
        cell: (run) => (run.id === openRun ? <Status tone="busy">open on the bench</Status> : <Status tone={endingTone(knownEnding(run.ending))}>{endingWords(knownEnding(run.ending))}</Status>),
      },
    ],
    [openRun],
  );
  return (
    <Page title="Archive" lead="Every run that was made here, with all its attempts. Nothing is ever overwritten.">
      <div className="field-row" role="search" aria-label="Find runs">
        <TextInput label="Job, plan, serial number or type" value={query.text} onChange={(text) => setQuery({ ...query, text })} onEnter={() => search(query)} />
        <DayInput label="From day" value={query.from} problem={bounds.at === 'from' ? bounds.problem : ''} onChange={(from) => setQuery({ ...query, from })} />
        <DayInput label="To day" value={query.to} problem={bounds.at === 'to' ? bounds.problem : ''} onChange={(to) => setQuery({ ...query, to })} />
        {query !== everyRun && (
          <div className="clear-search">
            <Button onPress={() => setQuery(everyRun)}>Show all</Button>
          </div>
        )}
      </div>
      {kept !== null && (
        <Notice
          tone="note"
          action={
            <Button kind="quiet" onPress={() => setKept(null)}>
              Let go of it
            </Button>
          }
        >
          Kept for a comparison: {dateTimeText(kept.createdAt)}, {kept.planName}. Choose the run to compare it with.
        </Notice>
      )}
      {view.problem !== '' && bounds.problem === '' && (
        <Notice tone="bad" action={<Button onPress={() => search(query)}>Read it again</Button>}>
          The list could not be read. {view.problem}
        </Notice>
      )}
      <div className={chosen === null ? 'archive-list' : 'archive-list archive-chosen'}>
        <Section title="Runs" aside={<span className="small quiet" role="status">{view.reading && view.rows.length === 0 ? 'The list is being read.' : countText(view.rows.length, view.more)}</span>}>
          <DataTable
            label="Runs of the archive"
            columns={columns}
            rows={view.rows}
            rowKey={(run) => run.id}
            empty={view.reading ? 'The list is being read.' : query === everyRun ? 'There is no run yet. Start one on the Run page.' : 'No run is like this. Look for less, or for other days.'}
            onOpen={setChosen}
            selected={chosen?.id ?? null}
            maxHeight="30rem"
            onEnd={next}
          />
        </Section>
        {chosen !== null && <ChosenRun key={chosen.id} run={view.rows.find((run) => run.id === chosen.id) ?? chosen} ending={endingWords(knownEnding(chosen.ending))} kept={kept} onKeep={setKept} />}
      </div>
      <ArchiveCare />
    </Page>
  );
}

function useRunPages() {
  const [held] = useState(() => {
    const listeners = new Set<() => void>();
    const pages = new RunPages(
      (params) => ask('runs.list', params),
      () => {
        for (const listener of listeners) listener();
      },
    );
    return {
      pages,
      search: (query: Query): void => void pages.search(query, boundsOf(query, localMidnight)),
      next: (): void => void pages.next(),
      subscribe: (listener: () => void) => {
        listeners.add(listener);
        return () => listeners.delete(listener);
      },
    };
  });
  const view = useSyncExternalStore(held.subscribe, () => held.pages.view);
  return { view, search: held.search, next: held.next };
}
