import { expect, it } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { Shelf } from './shelf.ts';
import { openDatabase, type StorageFailure } from './sqlite.ts';

it('ARC-46 what was committed, and cannot be found again afterwards, is not said to be saved', () => {
  const strayed: StorageFailure = { ok: false, code: 'strayed', text: 'It is gone.' };
  const db = openDatabase(':memory:', { readOnly: false, busyTimeout: 0 });
  const isGone: { now: StorageFailure | null } = { now: null };
  const shelf = new Shelf(db, 'a.sqlite', () => unixMillis(1.7e12), () => isGone.now);
  expect(shelf.durably((savedAt) => savedAt)).toEqual({ ok: true, value: 1.7e12 });
  const moved = shelf.durably(() => {
    // In the middle of the commit, where SQLite has looked for its file already.
    isGone.now = strayed;
    return 1;
  });
  expect(moved).toEqual(strayed);
  db.close();
});
