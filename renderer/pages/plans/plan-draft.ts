/** The plan that is being worked on in this window. It outlives the page, so that looking elsewhere loses nothing. */
import { flushSync } from 'react-dom';
import { create } from 'zustand';
import type { Problem } from '../../../app/boundary/problems.ts';
import type { PlanRow } from '../../../app/contract/contract.ts';
import { samePlan } from './plan-form.ts';
import type { PlanForm } from './plan-form.ts';

export interface PlanDraft {
  readonly form: PlanForm;
  /** As it was opened or saved last; null: never saved. */
  readonly saved: { readonly row: PlanRow; readonly form: PlanForm } | null;
  /** What of an imported file could not be taken over. */
  readonly leftOut: readonly Problem[];
}

export const useDraft = create<{ readonly draft: PlanDraft | null }>()(() => ({ draft: null }));

export function openDraft(draft: PlanDraft | null): void {
  useDraft.setState({ draft });
}

export type Change = (form: PlanForm) => PlanForm;

/** Drawn at once, so that a field that was just made can take the focus before the next key. */
export function changeForm(change: Change): void {
  flushSync(() => useDraft.setState(({ draft }) => ({ draft: draft === null ? null : { ...draft, form: change(draft.form) } })));
}

/** Whether closing the draft would lose something. */
export function isUnsaved({ form, saved }: PlanDraft): boolean {
  return saved === null || !samePlan(form, saved.form);
}
