import { useMemo, useState } from 'react';
import type { RunEvent } from '../../../app/journal/events.ts';
import { aboutOf, notesOf, type Note } from '../../../app/journal/note.ts';
import { ask } from '../../host/host.ts';
import { useTyped } from '../../typed/typed.ts';
import { settings } from '../../settings/settings.ts';
import { Button } from '../../components/button.tsx';
import { NoteList } from '../../components/note-list.tsx';
import { TextInput } from '../../components/field.tsx';
import { Status } from '../../components/status.tsx';

/** What a note is about: indices of the run; all null: the run itself. */
type About = Pick<Note, 'point' | 'attempt' | 'injector'>;

interface NotesProps {
  readonly run: string;
  readonly events: readonly RunEvent[];
  readonly about: About;
  /** Of it, as a person names it: "point 12". */
  readonly name: string;
}

/** The notes about one thing, and one more (WIN-55). They are kept with the run, with who and when, and none is ever taken away. */
export function Notes(props: NotesProps) {
  return <NotesOf key={aboutOf(props.about)} {...props} />;
}

function NotesOf({ run, events, about, name }: NotesProps) {
  const { length } = events;
  // The events grow in place.
  const all = useMemo(() => notesOf(events), [events, length]);
  const notes = all.filter((note) => aboutOf(note) === aboutOf(about));
  // Open at first where something is to be looked at; after that as the person has it.
  const [begun] = useBegun(run, about, name);
  const [open] = useState(() => begun !== '' || notes.some((note) => note.open));
  return (
    <details className="notes" open={open}>
      <summary>
        {notes.length === 0 ? `Note about ${name}` : `Notes about ${name} (${notes.length})`}
        {notes.some((note) => note.open) && <Status tone="note">Look at this</Status>}
      </summary>
      <NoteList notes={notes} />
      <NoteForm run={run} about={about} name={name} open={notes.some((note) => note.open)} />
    </details>
  );
}

/** A note that is written still (WIN-28). */
const useBegun = (run: string, about: About, name: string) => useTyped(`run/note/${run}/${aboutOf(about)}`, '', { title: `Note about ${name}`, work: true });

function NoteForm({ run, about, name, open }: { readonly run: string; readonly about: About; readonly name: string; readonly open: boolean }) {
  const [text, setText] = useBegun(run, about, name);
  const [problem, setProblem] = useState('');
  const [busy, setBusy] = useState(false);
  const keep = async (mark: Note['mark']): Promise<void> => {
    if (text.trim() === '') {
      setProblem('A note needs words.');
      return;
    }
    setBusy(true);
    const { point, attempt, injector } = about;
    const reply = await ask('run.command', { id: run, command: { kind: 'note', point, attempt, injector, text: text.trim(), mark }, by: settings().operator || 'Operator', commandId: crypto.randomUUID() });
    setBusy(false);
    const why = !reply.ok ? reply.failure.text : reply.value.accepted ? '' : reply.value.reason;
    setProblem(why);
    if (why === '') setText('');
  };
  return (
    <div className="note-form">
      <TextInput label="Note" value={text} onChange={setText} problem={problem} onEnter={() => void keep('note')} />
      <div className="button-row">
        <Button onPress={() => void keep('note')} busy={busy}>
          Keep
        </Button>
        <Button onPress={() => void keep('look')} busy={busy}>
          Keep as “look at this”
        </Button>
        {open && (
          <Button onPress={() => void keep('settled')} busy={busy}>
            Settled
          </Button>
        )}
      </div>
    </div>
  );
}
