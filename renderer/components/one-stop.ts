/**
 * Rows of controls of which one row is in the order of the Tab key; Up and Down lead to the others, in the same column (roving tabindex of the ARIA authoring practices). A long list costs
 * whoever works by keys as many stops as one row has.
 */
import { useLayoutEffect, useRef } from 'react';
import type { FocusEvent, KeyboardEvent } from 'react';

const controlsOf = (row: Element): readonly HTMLElement[] => [...row.querySelectorAll<HTMLElement>('input, select, textarea, button, a[href]')];

/** Put on the element that holds the rows. `row`: selects them; `first`: the row that Tab leads to before one of them had the focus. */
export function useOneStop<Holder extends HTMLElement>(row: string, first = 0) {
  const holder = useRef<Holder>(null);
  const chosen = useRef<number | null>(null);
  const rows = (): readonly Element[] => [...(holder.current?.querySelectorAll(row) ?? [])];
  const apply = (): void => {
    const all = rows();
    const current = Math.min(chosen.current ?? Math.max(first, 0), all.length - 1);
    all.forEach((one, index) => {
      for (const control of controlsOf(one)) control.tabIndex = index === current ? 0 : -1;
    });
  };
  // With each drawing: rows come and go, and a control that is drawn anew is a stop again.
  useLayoutEffect(apply);

  const onFocus = ({ target }: FocusEvent<Holder>): void => {
    const index = rows().findIndex((one) => one.contains(target));
    if (index < 0) return;
    chosen.current = index;
    apply();
  };
  const onKeyDown = (event: KeyboardEvent<Holder>): void => {
    const { target } = event;
    if (event.altKey || event.ctrlKey || event.metaKey || event.shiftKey || target instanceof HTMLSelectElement || target instanceof HTMLTextAreaElement || !(target instanceof HTMLElement)) return;
    const step = event.key === 'ArrowUp' ? -1 : event.key === 'ArrowDown' ? 1 : 0;
    const all = rows();
    const index = all.findIndex((one) => one.contains(target));
    const from = all[index];
    const to = all[index + step];
    if (step === 0 || from === undefined || to === undefined) return;
    event.preventDefault();
    const control = controlsOf(to)[controlsOf(from).indexOf(target)] ?? controlsOf(to)[0];
    control?.focus();
    if (control instanceof HTMLInputElement && control.type === 'text') control.select();
  };
  return { ref: holder, onFocus, onKeyDown };
}
