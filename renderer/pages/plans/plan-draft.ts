/** The plan that is being worked on in this window. It outlives the page, the window and the host (WIN-28). */
import { flushSync } from 'react-dom';
import { create } from 'zustand';
import type { Problem } from '../../../app/boundary/problems.ts';
import type { PlanRow } from '../../../app/contract/library-requests.ts';
import { keepStore } from '../../typed/typed.ts';
import { withStep } from '../../components/undo.ts';
import type { Step } from '../../components/undo.ts';
import { stepBetween } from './plan-steps.ts';
import { samePlan } from './plan-form.ts';
import type { ListName } from './fields.ts';
import type { PlanForm } from './plan-form.ts';

export interface PlanDraft {
  readonly form: PlanForm;
  /** As it was opened or saved last; null: never saved. */
  readonly saved: { readonly row: PlanRow; readonly form: PlanForm } | null;
  /** What of an imported file could not be taken over. */
  readonly leftOut: readonly Problem[];
}

/** What stands in the entry of an axis and could not be read, with the reason. It is not in the plan. */
export interface Unread {
  readonly typed: string;
  readonly text: string;
}

interface DraftState {
  readonly draft: PlanDraft | null;
  readonly unread: Readonly<Partial<Record<ListName, Unread>>>;
  /** Of the open plan, to be taken back. */
  readonly steps: readonly Step<PlanForm>[];
}

export const useDraft = create<DraftState>()(() => ({ draft: null, unread: {}, steps: [] }));

/** Puts another plan in the place of the one that is open. */
export function openDraft(draft: PlanDraft): void {
  useDraft.setState({ draft, unread: {}, steps: [] });
}

/** The open plan is stored now as `saved`; what was typed since stays. */
export function draftSaved(saved: NonNullable<PlanDraft['saved']>): void {
  useDraft.setState(({ draft }) => ({ draft: draft === null ? null : { ...draft, saved, leftOut: [] } }));
}

export function setUnread(axis: ListName, unread: Unread | null): void {
  useDraft.setState((now) => {
    const { [axis]: before, ...others } = now.unread;
    if (unread === null) return before === undefined ? now : { unread: others };
    return { unread: { ...others, [axis]: unread } };
  });
}

export type Change = (form: PlanForm) => PlanForm;

/** Drawn at once, so that a field that was just made can take the focus before the next key. */
export function changeForm(change: Change): void {
  flushSync(() =>
    useDraft.setState(({ draft, steps }) => {
      if (draft === null) return { draft };
      const form = change(draft.form);
      return { draft: { ...draft, form }, steps: form === draft.form ? steps : withStep(steps, { before: draft.form, ...stepBetween(draft.form, form) }) };
    }),
  );
}

/** Takes the latest change back (WIN-31). */
export function undoChange(): void {
  useDraft.setState(({ draft, steps }) => {
    const step = steps.at(-1);
    return draft === null || step === undefined ? { draft } : { draft: { ...draft, form: step.before }, steps: steps.slice(0, -1) };
  });
}

/** Whether closing the draft would lose something. */
export function isUnsaved({ form, saved }: PlanDraft): boolean {
  return saved === null || !samePlan(form, saved.form);
}

type KeptState = Pick<DraftState, 'draft' | 'unread'>;

const isObject = (one: unknown): one is Readonly<Record<string, unknown>> => typeof one === 'object' && one !== null;

const isDraftState = (content: unknown): content is KeptState =>
  isObject(content) && isObject(content['unread']) && isObject(content['draft']) && isObject(content['draft']['form']) && isObject(content['draft']['form']['texts']) && isObject(content['draft']['form']['axes']);

keepStore(
  'plans/plan.1',
  useDraft,
  ({ draft, unread }) =>
    draft === null ? null : { content: { draft, unread }, title: `Plan ${draft.form.texts.name ?? ''}`.trim(), work: isUnsaved(draft) || Object.keys(unread).length > 0 },
  (content) => {
    if (isDraftState(content)) useDraft.setState({ draft: content.draft, unread: content.unread, steps: [] });
  },
);
