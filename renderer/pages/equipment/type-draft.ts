/** A type record that was begun and not saved: it outlives the page, the window and the host (WIN-28, WIN-71). */
import { create } from 'zustand';
import { keepStore } from '../../typed/typed.ts';
import type { TypeDraft } from './type-fields.ts';

interface BegunType {
  /** Version that it was begun on; 0: a new record. */
  readonly basedOn: number;
  /** As the form was then. */
  readonly before: TypeDraft;
  readonly draft: TypeDraft;
  readonly reason: string;
}

export const useBegunType = create<{ readonly begun: BegunType | null }>()(() => ({ begun: null }));

export function keepType(begun: BegunType | null): void {
  useBegunType.setState({ begun });
}

const isDraft = (content: unknown): content is TypeDraft => typeof (content as { values?: unknown } | null)?.values === 'object';
const isBegun = (content: unknown): content is BegunType => {
  const { basedOn, before, draft, reason } = (content ?? {}) as Partial<Record<keyof BegunType, unknown>>;
  return typeof basedOn === 'number' && isDraft(before) && isDraft(draft) && typeof reason === 'string';
};

keepStore(
  'equipment/type.1',
  useBegunType,
  ({ begun }) => (begun === null ? null : { content: begun, title: `Type record ${begun.draft.values['type'] ?? ''}`.trim(), work: true }),
  (content) => {
    if (isBegun(content)) useBegunType.setState({ begun: content });
  },
);
