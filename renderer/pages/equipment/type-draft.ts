/** A type record that was begun and not saved (WIN-71). */
import { begunVersion } from '../../typed/begun.ts';
import type { TypeDraft } from './type-fields.ts';

const isDraft = (content: unknown): content is TypeDraft => typeof (content as { values?: unknown } | null)?.values === 'object';

export const { useBegun: useBegunType, keep: keepType } = begunVersion('equipment/type.1', isDraft, (draft) => `Type record ${draft.values['type'] ?? ''}`);
