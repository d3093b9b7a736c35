import { useMemo, useState } from 'react';
import type { Dispatch, ReactNode, SetStateAction } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { grantedSentences } from '../../../app/equipment/standing.ts';
import { curvatureSentences } from '../../../app/reduce/curvature.ts';
import { leakSentences } from '../../../app/reduce/leak-words.ts';
import { lightWindowSentences } from '../../../app/reduce/window-words.ts';
import { comparisonText } from '../../../app/run/time-base.ts';
import { Button } from '../../components/button.tsx';
import { Choice } from '../../components/field.tsx';
import { Page } from '../../components/page.tsx';
import { Notice } from '../../components/status.tsx';
import { shownText } from '../../components/shown-text.ts';
import { cellOfRoute, latest, pathOfCell } from '../../address/places.ts';
import { goTo, pathTo, putAddress, routeOf, useRoute } from '../../address/route.ts';
import { ask, useHost, useWhenUp } from '../../host/host.ts';
import { changeSettings, flowUnits, useSettings } from '../../settings/settings.ts';
import { useUnits } from '../../settings/units.ts';
import { amountsFor } from './amounts.ts';
import { AboutRun } from './about-run.tsx';
import { attemptEnds } from './attempts.ts';
import { AttemptsPanel } from './attempts-panel.tsx';
import { ComparePanel } from './compare-panel.tsx';
import { ControllerPanel } from './controller-panel.tsx';
import { DeadTimePanel } from './dead-time-panel.tsx';
import { DriftPanel } from './drift-panel.tsx';
import { LinePanel } from './line-panel.tsx';
import { MapsPanel } from './maps-panel.tsx';
import { MassesPanel } from './masses-panel.tsx';
import { MatchPart } from './match-part.tsx';
import { ConditionPicker } from './pickers.tsx';
import './results.css';
import { RunFiles } from './run-files.tsx';
import { ReportDraft } from './report-draft.tsx';
import { referenceDensity } from './results.ts';
import type { RunResults } from '../../../app/results/run-results.ts';
import { resultsSentence, runText, shortRunText } from './run-text.ts';
import { noWish, selectionOf } from './selection.ts';
import { RepeatabilityPanel } from './repeatability-panel.tsx';
import type { Selection, Wish } from './selection.ts';
import { SelfChecksPanel } from './self-checks-panel.tsx';
import { ShortPanel } from './short-panel.tsx';
import { SpreadPanel } from './spread-panel.tsx';
import { TypePanel } from './type-panel.tsx';
import { beginToReduce, useResults } from './use-results.ts';
import type { ResultsView } from './use-results.ts';

const viewGroups = [
  {
    title: 'One injector',
    views: [
      { path: 'line', title: 'Flow curve' },
      { path: 'short-pulses', title: 'Short pulses' },
    ],
  },
  {
    title: 'All of the run',
    views: [
      { path: 'all', title: 'All injectors' },
      { path: 'dead-time', title: 'Dead time and slope' },
      { path: 'maps', title: 'Maps' },
      { path: 'controller', title: 'For a controller' },
    ],
  },
  {
    title: 'Alike or not',
    views: [
      { path: 'set', title: 'Set' },
      { path: 'match', title: 'Matched sets' },
      { path: 'type', title: 'Type' },
      { path: 'compare', title: 'Compare' },
    ],
  },
  {
    title: 'How far to trust it',
    views: [
      { path: 'repeatability', title: 'Repeatability' },
      { path: 'drift', title: 'Drift' },
      { path: 'self-checks', title: 'Self-checks' },
      { path: 'attempts', title: 'Attempts' },
    ],
  },
] as const;
const views = viewGroups.flatMap((group): readonly (typeof viewGroups)[number]['views'][number][] => group.views);
type View = (typeof views)[number]['path'];

/** Views of one pressure and period; the others show all of them. */
const ofOneCondition: ReadonlySet<View> = new Set<View>(['line', 'all', 'dead-time', 'short-pulses', 'set', 'compare', 'controller']);

const recent = 50;

if (routeOf(window.location.hash).page === 'results') beginToReduce();

/** Results of the open run, of the latest, or of the run that the address names: `#/results/<run>/<view>/<other run>`. */
export default function ResultsPage() {
  const { rest } = useRoute();
  const { openRun, line } = useHost();
  const flowUnit = useSettings((settings) => settings.flowUnit);
  const [runs, setRuns] = useState<readonly RunRow[] | null>(null);
  useWhenUp(() => void ask('runs.list', { limit: recent }).then((reply) => setRuns(reply.ok ? reply.value : [])));
  const named = rest[0] === latest ? undefined : rest[0];
  const id = named ?? openRun ?? runs?.[0]?.id ?? null;
  const view = views.find((one) => one.path === rest[1])?.path ?? 'line';
  const found = useResults(id);
  const choices = useMemo(() => runChoices(runs ?? [], id, found), [runs, id, found]);
  return (
    <Page
      title="Results"
      lead={id === null ? undefined : leadOf(found)}
      actions={
        id !== null && (
          <>
            <Choice label="Run" value={id} options={choices.map((one) => ({ value: one.id, text: one.text }))} onChange={(chosen) => goTo('results', chosen, view)} />
            <Choice
              label="Amounts in"
              value={flowUnit}
              options={flowUnits.map((unit) => ({ value: unit, text: unit === 'mg' ? 'mg per pulse' : unit }))}
              onChange={(unit) => changeSettings({ flowUnit: unit })}
            />
            <ReportDraft key={id} id={id} />
            {found.journal.state !== null && (
              <RunFiles key={`files-${id}`} journal={found.journal} run={{ id, order: found.journal.state.plan.order, planName: found.journal.state.plan.name, createdAt: found.journal.events[0]?.at ?? 0 }} against={line.state === 'up' ? '' : 'The host cannot be reached.'} />
            )}
            <Button onPress={() => goTo('journal', id)}>Journal</Button>
            <Button onPress={() => goTo('archive')}>Other runs</Button>
          </>
        )
      }
    >
      {id === null ? (
        <Notice tone={runs === null ? 'busy' : 'off'}>
          {runs !== null ? 'There is no run yet. Build a plan on the Plans page and start it on the Run page; its results stand here as it goes on.' : line.state === 'up' ? 'The runs are being listed.' : 'The runs can be listed once the host is there.'}
        </Notice>
      ) : (
        <>
          <nav className="views" aria-label="Views of the results">
            {viewGroups.map((group) => (
              <div key={group.title} role="group" aria-label={group.title} className="views-group">
                <span className="small quiet" aria-hidden="true">
                  {group.title}
                </span>
                <div>
                  {group.views.map(({ path, title }) => (
                    <a key={path} href={pathTo('results', named ?? latest, path)} aria-current={path === view ? 'page' : undefined}>
                      {title}
                    </a>
                  ))}
                </div>
              </div>
            ))}
          </nav>
          <ResultsOf key={id} id={id} view={view} found={found} other={otherRun(view, rest)} named={rest.slice(2)} choices={choices} />
        </>
      )}
    </Page>
  );
}

/** The run that the address names to compare with. */
const otherRun = (view: View, rest: readonly string[]): string | null => (view === 'compare' ? (rest[2] ?? null) : null);

const chosenCell = (before: Pick<Selection, 'injector' | 'voltage' | 'width'>, change: Partial<Wish>): Pick<Selection, 'injector' | 'voltage' | 'width'> => ({
  injector: change.injector ?? before.injector, voltage: change.voltage ?? before.voltage, width: change.width ?? before.width,
});

/** What a link names is looked at first, and another link to these results while they are shown is followed (WIN-56). */
function useLinkedWish(named: readonly string[]): readonly [Wish, Dispatch<SetStateAction<Wish>>] {
  const [wish, setWish] = useState<Wish>(() => ({ ...noWish, ...cellOfRoute(named) }));
  const address = named.join('/');
  const [followed, setFollowed] = useState(address);
  if (followed !== address) {
    setFollowed(address);
    const cell = cellOfRoute(named);
    if (cell.injector !== null) setWish((before) => ({ ...before, ...cell }));
  }
  return [wish, setWish];
}

interface ResultsOfProps {
  readonly id: string;
  readonly view: View;
  readonly found: ResultsView;
  readonly other: string | null;
  /** What the address names behind the view. */
  readonly named: readonly string[];
  readonly choices: readonly { readonly id: string; readonly text: string }[];
}

function ResultsOf({ id, view, found, other, named, choices }: ResultsOfProps) {
  const { journal, results, reducing, problem } = found;
  const [wish, setWish] = useLinkedWish(named);
  const selection = useMemo(() => (results === null ? null : selectionOf(results, wish)), [results, wish]);
  const units = useUnits(results === null || selection === null ? null : referenceDensity(results, selection.condition.pressure));
  const amounts = useMemo(() => amountsFor(units, selection?.condition.period ?? 1), [units.pulseUnit, units.statement, selection?.condition.period]);
  const ends = useMemo(() => attemptEnds(journal.phase === 'loading' ? [] : journal.events), [journal.events, journal.state, journal.phase]);
  const runOf = useMemo(() => [id], [id]);
  const onWish = (change: Partial<Wish>): void => {
    setWish((before) => ({ ...before, ...change }));
    if (selection !== null && view !== 'compare') putAddress(pathOfCell(id, view, chosenCell(selection, change)));
  };

  if (journal.phase === 'failed') return <Notice tone="bad">The run cannot be read: {journal.problem} Nothing was changed.</Notice>;
  if (problem !== '') return <Notice tone="bad">The run cannot be reduced: {problem} Its readings are kept in the archive; please report it.</Notice>;
  if (results === null || selection === null) {
    if (results !== null) return <Notice tone="note">The plan of this run measures nothing but reference points, so there are no lines.</Notice>;
    return <Notice tone="busy">{journal.phase === 'loading' ? 'The journal of the run is being read.' : 'The run is being reduced.'}</Notice>;
  }
  const props = { results, selection, onWish, amounts };
  const panel = (): ReactNode => {
    switch (view) {
      case 'line':
        return <LinePanel {...props} />;
      case 'all':
        return <MassesPanel {...props} />;
      case 'maps':
        return <MapsPanel id={id} results={results} amounts={amounts} />;
      case 'match':
        return <MatchPart key={id} runs={runOf} />;
      case 'repeatability':
        return <RepeatabilityPanel id={id} results={results} />;
      case 'dead-time':
        return <DeadTimePanel {...props} />;
      case 'short-pulses':
        return <ShortPanel {...props} />;
      case 'set':
        return <SpreadPanel {...props} />;
      case 'drift':
        return <DriftPanel {...props} id={id} state={journal.state} ends={ends} />;
      case 'self-checks':
        return <SelfChecksPanel results={results} />;
      case 'attempts':
        return <AttemptsPanel {...props} id={id} journal={journal} ends={ends} />;
      case 'type':
        return <TypePanel results={results} />;
      case 'controller':
        return <ControllerPanel id={id} results={results} selection={selection} onWish={onWish} />;
      case 'compare':
        return <ComparePanel id={id} results={results} selection={selection} name={choices.find((one) => one.id === id)?.text ?? results.plan.name} other={other} runs={choices.filter((one) => one.id !== id)} onOther={(chosen) => goTo('results', id, 'compare', chosen)} />;
    }
  };
  const granted = grantedSentences(results.equipment, results.reduction.supplyLoss !== undefined);
  const bent = curvatureSentences(results.reduction.curvatures);
  return (
    <>
      <AboutRun id={id} journal={journal} />
      <p className="results-state" role="status">
        {shownText([reducing ? 'Attempts have changed; the results are being worked out again.' : '', resultsSentence(results), amounts.statement, ...[...(journal.state?.clocks.values() ?? [])].slice(-1).map(comparisonText)].filter((text) => text !== '').join(' '))}
      </p>
      <Notice tone={leakTone(results)}>{shownText(leakSentences(results.reduction.leak, results.reduction.periodPair, results.reduction.cells).join(' '))}</Notice>
      {results.reduction.lightWindows.length > 0 && <Notice tone="note">{shownText(lightWindowSentences(results.reduction.lightWindows).join(' '))}</Notice>}
      {bent.length > 0 && <Notice tone="bad">{shownText(bent.join(' '))}</Notice>}
      {granted.length > 0 && <Notice tone="note">{shownText(granted.join(' '))}</Notice>}
      {results.reduction.invariance.members.some((m) => m.called) && <Notice tone="bad">The same quantity came out differently with one condition changed; the results carry the difference. The view Self-checks says which and why.</Notice>}
      {ofOneCondition.has(view) && <ConditionPicker selection={selection} onWish={onWish} />}
      {panel()}
    </>
  );
}

/** A leak that was not looked for, or that leaves no result, is not to be overlooked. */
function leakTone({ reduction: { leak, periodPair, cells } }: RunResults): 'good' | 'note' | 'bad' {
  if (cells.some((c) => c.kind === 'no-line' && c.reason === 'leak') || (periodPair.kind === 'period-pair' && !periodPair.agrees)) return 'bad';
  return leak.kind === 'leak' && !cells.some((c) => c.kind === 'line' && c.leak?.again != null) ? 'good' : 'note';
}

function leadOf({ journal: { state, events, phase } }: ResultsView): ReactNode {
  return state === null ? undefined : runText(state, events[0]?.at ?? null, phase !== 'loading');
}

/** The recent runs, and the one that is looked at where it is older. */
function runChoices(runs: readonly RunRow[], id: string | null, { journal: { state, events } }: ResultsView): readonly { readonly id: string; readonly text: string }[] {
  const listed = runs.map((run) => ({ id: run.id, text: shortRunText(run.planName, run.order, run.createdAt) }));
  if (id === null || listed.some((one) => one.id === id)) return listed;
  return [{ id, text: state === null ? id : shortRunText(state.plan.name, state.plan.order, events[0]?.at ?? null) }, ...listed];
}
