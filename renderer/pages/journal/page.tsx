import { decimals } from '../../components/decimals.ts';
import { useCallback, useEffect, useMemo, useRef, useState } from 'react';
import type { RunRow } from '../../../app/contract/archive-requests.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { pathOfInstant } from '../../address/places.ts';
import { goTo, pathTo, useRoute } from '../../address/route.ts';
import { Button } from '../../components/button.tsx';
import { DataTable } from '../../components/data-table.tsx';
import type { Column } from '../../components/data-table.tsx';
import { Choice, TextInput } from '../../components/field.tsx';
import { Page, Section } from '../../components/page.tsx';
import { saveFile } from '../../components/save-file.ts';
import { Notice } from '../../components/status.tsx';
import { ask, useHost, useRun, useWhenUp } from '../../host/host.ts';
import { logOf } from '../run/log.ts';
import { runFileName } from '../../components/file-name.ts';
import { StripsPart, type AttemptSpan, type TimeSpan } from './strips-part.tsx';
import { instantText, journalLines, journalText, lineKinds, type JournalLine, type LineKind } from './words.ts';
import '../results/one-line.css';
import './journal.css';

const recent = 200;
const noLines: readonly JournalLine[] = [];
const kinds = Object.keys(lineKinds) as LineKind[];
/** Half of what is shown around an instant that a link leads to, ms. */
const aroundMs = 60_000;

const columns: readonly Column<JournalLine>[] = [
  { key: 'at', title: 'Instant (UTC)', width: '12rem', cell: (line) => instantText(line.at).slice(0, 21), sortBy: (line) => line.seq },
  { key: 'who', title: 'Who', width: '9rem', cell: (line) => <span className="one-line">{line.who === '' ? '–' : line.who}</span>, sortBy: (line) => line.who },
  { key: 'point', title: 'Point', width: '5rem', numeric: true, cell: (line) => (line.point === null ? '–' : shownPoint(line.point)), sortBy: (line) => line.point ?? -1 },
  { key: 'what', title: 'What', width: 'minmax(24rem, 1fr)', cell: (line) => (line.who === '' ? decimals(line.what) : line.what) },
];

/** The instant of a link; null: it names none. */
function instantOf(text: string | undefined): number | null {
  const at = text === undefined ? Number.NaN : Date.parse(text);
  return Number.isFinite(at) ? at : null;
}

const contains = (line: JournalLine, wanted: string): boolean => `${line.what} ${line.who}`.toLowerCase().includes(wanted);

/** What happened in a run, and what its bench read meanwhile. WIN-45, WIN-46 */
// eslint-disable-next-line max-lines-per-function, complexity -- mostly markup, in the order in which the page shows it
export default function JournalPage() {
  const { rest } = useRoute();
  const { openRun } = useHost();
  const [runs, setRuns] = useState<readonly RunRow[]>([]);
  useWhenUp(() => void ask('runs.list', { limit: recent }).then((reply) => setRuns(reply.ok ? reply.value : [])));
  const id = rest[0] ?? openRun ?? runs[0]?.id ?? null;
  const { phase, problem, events, state, revision } = useRun(id);
  const [off, setOff] = useState<ReadonlySet<LineKind>>(new Set<LineKind>(['step']));
  const [text, setText] = useState('');
  const [who, setWho] = useState('');
  const linked = instantOf(rest[1]);
  const [cursor, setCursor] = useState<number | null>(linked);
  const [span, setSpan] = useState<TimeSpan | null>(linked === null ? null : { from: linked - aroundMs, to: linked + aroundMs });
  const seen = useRef<string | undefined>(rest[1]);
  useEffect(() => {
    // Another link to this page.
    if (seen.current === rest[1] || linked === null) return;
    seen.current = rest[1];
    setCursor(linked);
    setSpan({ from: linked - aroundMs, to: linked + aroundMs });
  }, [rest, linked]);
  useEffect(() => {
    // Another run.
    if (rest[1] === undefined) {
      setCursor(null);
      setSpan(null);
    }
  }, [id]);
  // The list of events grows in place: a whole journal is put into words once for each of its lengths.
  const lines = useMemo(() => (state === null ? noLines : journalLines(events)), [state]);
  const people = useMemo(() => [...new Set(lines.map((line) => line.who).filter((name) => name !== ''))].toSorted(), [lines]);
  const wanted = text.trim().toLowerCase();
  const shown = useMemo(() => lines.filter((line) => !off.has(line.kind) && (who === '' || line.who === who) && (wanted === '' || contains(line, wanted))), [lines, off, who, wanted]);
  const log = state === null ? null : logOf(events);
  const attempts = useMemo((): readonly AttemptSpan[] => {
    const spans: AttemptSpan[] = [];
    for (const { at, body } of events) {
      if (body.kind === 'attempt-started') spans.push({ point: body.point, attempt: body.attempt, from: at, to: Number.POSITIVE_INFINITY, verdict: null });
      const last = spans.at(-1);
      if (body.kind === 'attempt-ended' && last?.point === body.point && last.attempt === body.attempt) spans[spans.length - 1] = { ...last, to: at, verdict: body.verdict };
    }
    return spans;
  }, [state]);
  const run = runs.find((one) => one.id === id);
  const options = runs.map((one) => ({ value: one.id, text: `${instantText(one.createdAt).slice(0, 16)} · ${[one.order, one.planName].filter((part) => part !== '').join(' · ')}` }));
  if (id !== null && run === undefined) options.unshift({ value: id, text: id });
  const lookAt = useCallback((at: number): void => {
    setCursor(at);
    setSpan((before) => (before === null || (before.from <= at && at <= before.to) ? before : { from: at - (before.to - before.from) / 2, to: at + (before.to - before.from) / 2 }));
  }, []);
  // Read again now and then while the run goes on.
  const [turn, setTurn] = useState(0);
  useEffect(() => {
    if (id === null || id !== openRun) return undefined;
    const timer = setInterval(() => setTurn((n) => n + 1), 5000);
    return () => clearInterval(timer);
  }, [id, openRun]);
  const name = state === null || log === null ? 'run' : runFileName({ order: state.plan.order, planName: state.plan.name, at: log.openedAt, id: id ?? '' });
  return (
    <Page
      title="Journal"
      lead="What happened in a run, when and by whom, and what the bench read meanwhile."
      actions={<Choice label="Run" value={id ?? ''} options={options.length === 0 ? [{ value: '', text: 'There is no run yet' }] : options} onChange={(next) => goTo('journal', next)} />}
    >
      {phase === 'failed' && <Notice tone="bad">The journal could not be read. {problem}</Notice>}
      {id === null && <p className="quiet">No run was made in this archive yet. A journal begins when a run is opened on the page Run.</p>}
      {id !== null && (
        <StripsPart key={id} id={id} span={span} onSpan={setSpan} cursor={cursor} onCursor={setCursor} attempts={attempts} alarms={log?.alarms ?? []} revision={turn} name={name} />
      )}
      {id !== null && (
        <Section
          title="Events"
          wide
          aside={
            <span className="small quiet" role="status">
              {phase === 'loading' ? 'The journal is being read.' : `${shown.length} of ${revision} events`}
            </span>
          }
        >
          <div className="journal-filter">
            <TextInput label="Contains" value={text} onChange={setText} />
            <Choice label="Who" value={who} options={[{ value: '', text: 'everybody and everything' }, ...people.map((one) => ({ value: one, text: one }))]} onChange={setWho} />
            <div className="journal-kinds" role="group" aria-label="Kinds of events">
              {kinds.map((kind) => (
                <label key={kind}>
                  <input
                    type="checkbox"
                    checked={!off.has(kind)}
                    onChange={() => {
                      const next = new Set(off);
                      if (!next.delete(kind)) next.add(kind);
                      setOff(next);
                    }}
                  />{' '}
                  {lineKinds[kind]}
                </label>
              ))}
            </div>
            <div className="button-row">
              {cursor !== null && (
                <>
                  <a href={pathTo('journal', id, new Date(cursor).toISOString())}>Link to {instantText(cursor)}</a>
                  <a href={pathOfInstant(id, cursor)}>Film from there</a>
                </>
              )}
              <Button against={shown.length === 0 ? 'Nothing is shown.' : ''} showAgainst={false} onPress={() => saveFile(`${name}-journal.txt`, [journalText(shown)])}>
                Save as text
              </Button>
            </div>
          </div>
          <DataTable label="Events of the run" columns={columns} rows={shown} rowKey={(line) => String(line.seq)} empty={phase === 'loading' ? 'The journal is being read.' : 'No event fits what is asked for above.'} onOpen={(line) => lookAt(line.at)} selected={cursor === null ? null : nearestLine(shown, cursor)} maxHeight="24rem" />
        </Section>
      )}
    </Page>
  );
}

/** The last event up to an instant. */
function nearestLine(lines: readonly JournalLine[], at: number): string | null {
  const line = lines.findLast((one) => one.at <= at);
  return line === undefined ? null : String(line.seq);
}
