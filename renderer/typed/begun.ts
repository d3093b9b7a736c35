/** A new version of something the lab keeps that was begun and not saved: it outlives the page, the window and the host (WIN-28). */
import { create } from 'zustand';
import { keepStore } from './typed.ts';

interface Begun<Draft> {
  /** Version that it was begun on; 0: something new. */
  readonly basedOn: number;
  /** As the form was then. */
  readonly before: Draft;
  readonly draft: Draft;
  readonly reason: string;
}

/** `name`: under which it is kept; `isDraft`: whether what was kept is one of this program; `title`: of what is not saved. One at a time. */
export function begunVersion<Draft>(name: string, isDraft: (content: unknown) => content is Draft, title: (draft: Draft) => string) {
  const useBegun = create<{ readonly begun: Begun<Draft> | null }>()(() => ({ begun: null }));
  keepStore(
    name,
    useBegun,
    ({ begun }) => (begun === null ? null : { content: begun, title: title(begun.draft).trim(), work: true }),
    (content) => {
      const { basedOn, before, draft, reason } = (content ?? {}) as Partial<Record<keyof Begun<Draft>, unknown>>;
      if (typeof basedOn === 'number' && isDraft(before) && isDraft(draft) && typeof reason === 'string') useBegun.setState({ begun: { basedOn, before, draft, reason } });
    },
  );
  return { useBegun, keep: (begun: Begun<Draft> | null): void => useBegun.setState({ begun }) };
}
