import type { ReactNode } from 'react';
import type { Note } from '../../app/journal/note.ts';
import { dateTimeText } from './dates.ts';
import { Status } from './status.tsx';

const signs = { note: null, look: 'Look at this', settled: 'Settled' } as const;

/** `about`: what each is about, where that is not the same for all. */
export function NoteList({ notes, about }: { readonly notes: readonly Note[]; readonly about?: (note: Note) => ReactNode }) {
  if (notes.length === 0) return null;
  return (
    <ul className="note-list">
      {notes.map((note) => {
        const { seq, at, by, text, mark, open } = note;
        return (
          <li key={seq}>
          {about !== undefined && <>{about(note)}: </>}
          {signs[mark] !== null && <Status tone={open ? 'note' : 'off'}>{signs[mark]}</Status>} {text}{' '}
          <span className="small quiet">
            {by}, {dateTimeText(at)}
          </span>
        </li>
        );
      })}
    </ul>
  );
}
