/** Details of reports that were begun and not saved: they outlive the page, the window and the host (WIN-28, WIN-160). */
import { create } from 'zustand';
import { keepStore } from '../../typed/typed.ts';
import type { DetailsDraft } from './details-form.ts';

interface BegunDetails {
  /** Version that they were begun on; 0: new ones. */
  readonly basedOn: number;
  /** As the form was then. */
  readonly before: DetailsDraft;
  readonly draft: DetailsDraft;
  readonly reason: string;
}

export const useBegunDetails = create<{ readonly begun: BegunDetails | null }>()(() => ({ begun: null }));

export function keepDetails(begun: BegunDetails | null): void {
  useBegunDetails.setState({ begun });
}

const isDraft = (content: unknown): content is DetailsDraft => {
  const { values, limits, name } = (content ?? {}) as Partial<Record<keyof DetailsDraft, unknown>>;
  return typeof values === 'object' && Array.isArray(limits) && typeof name === 'string';
};
const isBegun = (content: unknown): content is BegunDetails => {
  const { basedOn, before, draft, reason } = (content ?? {}) as Partial<Record<keyof BegunDetails, unknown>>;
  return typeof basedOn === 'number' && isDraft(before) && isDraft(draft) && typeof reason === 'string';
};

keepStore(
  'reports/details.1',
  useBegunDetails,
  ({ begun }) => (begun === null ? null : { content: begun, title: `Details of reports ${begun.draft.name}`.trim(), work: true }),
  (content) => {
    if (isBegun(content)) useBegunDetails.setState({ begun: content });
  },
);
