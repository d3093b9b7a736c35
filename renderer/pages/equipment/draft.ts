/** A change of the record that was begun and not saved: it survives going to another page, a reload and a crash of the browser. WIN-42 */
import { create } from 'zustand';
import type { RecordDraft } from './fields.ts';

interface BegunChange {
  /** Version that it was begun on; 0: no record was saved yet. */
  readonly basedOn: number;
  /** The record that it was begun on. */
  readonly before: unknown;
  readonly values: RecordDraft;
  readonly reason: string;
}

const key = 'railhouse.equipment-change';

function stored(): BegunChange | null {
  try {
    const read = JSON.parse(localStorage.getItem(key) ?? 'null') as Partial<BegunChange> | null;
    if (read === null || typeof read.basedOn !== 'number' || typeof read.values !== 'object' || typeof read.reason !== 'string') return null;
    return { basedOn: read.basedOn, before: read.before, values: read.values, reason: read.reason };
  } catch {
    return null;
  }
}

export const useBegunChange = create<{ readonly change: BegunChange | null }>()(() => ({ change: typeof localStorage === 'undefined' ? null : stored() }));

export function keepChange(change: BegunChange | null): void {
  useBegunChange.setState({ change });
  try {
    if (change === null) localStorage.removeItem(key);
    else localStorage.setItem(key, JSON.stringify(change));
  } catch {
    // A browser that keeps nothing: the change lasts as long as the window.
  }
}
