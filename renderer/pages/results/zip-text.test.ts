import { expect, test } from 'vitest';
import type { Note } from '../../../app/journal/note.ts';
import { zipText } from './zip-text.ts';

test('EXP-8: the text of the ZIP has every note of the run with when, who, about what and whether it is still to be looked at', () => {
  const note = (change: Partial<Note>): Note => ({ seq: 1, at: Date.UTC(2026, 2, 31, 12), by: 'A. Tester', point: null, attempt: null, injector: null, text: 'filter changed', mark: 'note', open: false, ...change });
  const run = { id: 'run-1', order: 'J-1', planName: 'Sweep', createdAt: Date.UTC(2026, 2, 31), injectors: ['A-1', 'A-2'] };
  const notes = [note({}), note({ point: 4, text: 'slow to settle', mark: 'look', open: true }), note({ point: 4, attempt: 2, mark: 'look' }), note({ injector: 1, mark: 'settled', text: 'seal replaced' })];
  const text = zipText({ ...run, notes }, ['lines.csv', 'manifest.json'], 'railhouse');
  expect(text.split('\r\n')).toEqual(expect.arrayContaining([
    'Run run-1', 'Notes:', '  2026-03-31T12:00:00.000Z A. Tester, run: filter changed', '  2026-03-31T12:00:00.000Z A. Tester, point 5 [to be looked at]: slow to settle',
    '  2026-03-31T12:00:00.000Z A. Tester, point 5, attempt 2 [was to be looked at, settled]: filter changed', '  2026-03-31T12:00:00.000Z A. Tester, injector A-2 [settled]: seal replaced',
  ]));
  expect(text).toContain('  lines.csv: Flow curves');
  expect(zipText({ ...run, notes: [] }, [], 'railhouse')).not.toContain('Notes');
});
