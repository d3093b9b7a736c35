import { useMemo } from 'react';
import { notesOf, type Note } from '../../../app/journal/note.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import { pathOfPoint } from '../../address/places.ts';
import { pathTo } from '../../address/route.ts';
import { NotTraceable } from '../../components/not-traceable.tsx';
import { NoteList } from '../../components/note-list.tsx';
import { Status } from '../../components/status.tsx';
import type { JournalView } from '../../host/journal-feed.ts';
import { QuestionsOfRun } from './questions.tsx';

/** What is to be known of a run beside its numbers: whether it can be traced, whose injectors they are, and what people noted. */
export function AboutRun({ id, journal: { state, events } }: { readonly id: string; readonly journal: JournalView }) {
  const { length } = events;
  // The events grow in place.
  const notes = useMemo(() => notesOf(events), [events, length]);
  if (state === null) return null;
  return (
    <>
      <NotTraceable reasons={state.notTraceable} />
      {state.mode === 'ended' && <QuestionsOfRun key={id} id={id} />}
      {notes.length > 0 && <NotesOfRun id={id} notes={notes} serials={state.plan.injectors.map((injector) => injector.serialNumber)} />}
    </>
  );
}

/** All notes of a run, each with a way to what it is about. WIN-85 */
function NotesOfRun({ id, notes, serials }: { readonly id: string; readonly notes: readonly Note[]; readonly serials: readonly string[] }) {
  const open = notes.filter((note) => note.open).length;
  const about = ({ point, attempt, injector }: Note) => {
    if (injector !== null) return <a href={pathTo('injectors', serials[injector] ?? '')}>{serials[injector] ?? `Injector ${injector + 1}`}</a>;
    return point === null ? <a href={pathTo('run', id)}>Run</a> : <a href={pathOfPoint(id, point, attempt)}>{`Point ${shownPoint(point)}${attempt === null ? '' : `, attempt ${attempt}`}`}</a>;
  };
  return (
    <details className="notes" open={open > 0}>
      <summary>
        Notes of this run ({notes.length}){open > 0 && <Status tone="note">{open} to be looked at</Status>}
      </summary>
      <NoteList notes={notes} about={about} />
    </details>
  );
}
