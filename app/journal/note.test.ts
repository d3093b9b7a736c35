import { expect, test } from 'vitest';
import { unixMillis } from '../quantities/quantity.ts';
import type { RunCommand, RunEvent } from './events.ts';
import { runCommandSchema } from './commands.ts';
import { notesOf } from './note.ts';

type NoteCommand = Extract<RunCommand, { kind: 'note' }>;
const note = (seq: number, more: Partial<NoteCommand> = {}, answer: 'accepted' | 'refused' = 'accepted'): RunEvent => ({
  seq, at: unixMillis(1000 + seq),
  body: { kind: 'commanded', id: `n${seq}`, command: { kind: 'note', point: null, attempt: null, injector: null, text: `note ${seq}`, mark: 'note', ...more }, by: 'A. Tester', answer, reason: '' },
});

test('WIN-55 notes come from the journal with who and when, and what was refused is none', () => {
  const notes = notesOf([{ seq: 0, at: unixMillis(1), body: { kind: 'measuring-started' } }, note(1), note(2, {}, 'refused'), note(3, { point: 4, attempt: 2 })]);
  expect(notes).toEqual([
    { seq: 1, at: 1001, by: 'A. Tester', point: null, attempt: null, injector: null, text: 'note 1', mark: 'note', open: false },
    { seq: 3, at: 1003, by: 'A. Tester', point: 4, attempt: 2, injector: null, text: 'note 3', mark: 'note', open: false },
  ]);
});

test('WIN-55 what is to be looked at stays open until that very thing is settled, and can be opened anew', () => {
  const open = (events: readonly RunEvent[]): readonly number[] => notesOf(events).filter((one) => one.open).map(({ seq }) => seq);
  const looks = [note(1, { mark: 'look' }), note(2, { mark: 'look', point: 3 }), note(3, { mark: 'look', point: 3, attempt: 1 }), note(4, { mark: 'look', injector: 3 }), note(5, { mark: 'look', point: 3 })];
  expect(open(looks)).toEqual([1, 2, 3, 4, 5]);
  expect(open([...looks, note(6, { mark: 'settled', point: 3 })])).toEqual([1, 3, 4]);
  expect(open([...looks, note(6, { mark: 'settled', point: 3 }), note(7, { mark: 'look', point: 3 })])).toEqual([1, 3, 4, 7]);
  expect(open([...looks, note(6, { mark: 'settled', point: 3 }, 'refused')])).toEqual([1, 2, 3, 4, 5]);
});

test('WIN-55 a note is one line with words in it', () => {
  const given = (text: string) => runCommandSchema.safeParse({ kind: 'note', point: null, attempt: null, injector: null, text, mark: 'look' }).success;
  expect([given('a drop at the nozzle'), given(''), given('   '), given('x'.repeat(1001))]).toEqual([true, false, false, false]);
});
