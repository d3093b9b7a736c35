/** A change of the record that was begun and not saved: it outlives the page, the window and the host (WIN-28, WIN-42). */
import { create } from 'zustand';
import { keepStore } from '../../typed/typed.ts';
import type { RecordDraft } from './fields.ts';

interface BegunChange {
  /** Version that it was begun on; 0: no record was saved yet. */
  readonly basedOn: number;
  /** The record that it was begun on. */
  readonly before: unknown;
  readonly values: RecordDraft;
  readonly reason: string;
}

export const useBegunChange = create<{ readonly change: BegunChange | null }>()(() => ({ change: null }));

export function keepChange(change: BegunChange | null): void {
  useBegunChange.setState({ change });
}

const isChange = (content: unknown): content is BegunChange => {
  const { basedOn, values, reason } = (content ?? {}) as Partial<Record<keyof BegunChange, unknown>>;
  return typeof basedOn === 'number' && typeof values === 'object' && values !== null && typeof reason === 'string';
};

keepStore(
  'equipment/record.1',
  useBegunChange,
  ({ change }) => (change === null ? null : { content: change, title: 'Change of the equipment record', work: true }),
  (content) => {
    if (isChange(content)) useBegunChange.setState({ change: content });
  },
);
