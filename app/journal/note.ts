/** The notes of a run as its journal has them: what people wrote down, about what, and what is still to be looked at (WIN-55). */
import type { RunCommand, RunEvent } from './events.ts';

type NoteCommand = Extract<RunCommand, { kind: 'note' }>;

export interface Note extends Omit<NoteCommand, 'kind'> {
  readonly seq: number;
  /** Unix milliseconds. */
  readonly at: number;
  readonly by: string;
  /** It asks to be looked at, and nobody has settled it since. */
  readonly open: boolean;
}

/** What a note is about, as one word that is the same for the same thing. */
export const aboutOf = ({ point, attempt, injector }: Pick<Note, 'point' | 'attempt' | 'injector'>): string => [point, attempt, injector].join(' ');

/** In the order in which they were written. A later "settled" about the same thing settles every "look" before it. */
export function notesOf(events: readonly RunEvent[]): readonly Note[] {
  const notes: Note[] = [];
  for (const { seq, at, body } of events) {
    if (body.kind !== 'commanded' || body.command.kind !== 'note' || body.answer !== 'accepted') continue;
    const { point, attempt, injector, text, mark } = body.command;
    const note: Note = { seq, at, by: body.by, point, attempt, injector, text, mark, open: mark === 'look' };
    if (mark === 'settled') {
      for (const [i, earlier] of notes.entries()) if (earlier.open && aboutOf(earlier) === aboutOf(note)) notes[i] = { ...earlier, open: false };
    }
    notes.push(note);
  }
  return notes;
}
