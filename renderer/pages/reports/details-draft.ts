/** Details of reports that were begun and not saved (WIN-160). */
import { begunVersion } from '../../typed/begun.ts';
import type { DetailsDraft } from './details-form.ts';

const isDraft = (content: unknown): content is DetailsDraft => {
  const { values, limits, name } = (content ?? {}) as Partial<Record<keyof DetailsDraft, unknown>>;
  return typeof values === 'object' && Array.isArray(limits) && typeof name === 'string';
};

export const { useBegun: useBegunDetails, keep: keepDetails } = begunVersion('reports/details.1', isDraft, (draft) => `Details of reports ${draft.name}`);
