import { tinykeys } from 'tinykeys';

type Keys = Readonly<Record<string, (event: KeyboardEvent) => void>>;

/**
 * Listens to key combinations in the whole window, also while a field has the focus: they go with Alt, so nothing is being
 * typed. Returns what ends it.
 */
export function onWindowKeys(keys: Keys): () => void {
  return tinykeys(window, { ...keys }, { ignore: () => false });
}

/** Listens to plain keys in the whole window, but where something is being typed or a dialog is open. Returns what ends it. */
export function onPlainKeys(keys: Readonly<Record<string, () => void>>): () => void {
  const onKey = (event: KeyboardEvent): void => {
    const action = keys[event.key];
    if (action === undefined || event.ctrlKey || event.metaKey || event.altKey || event.repeat || isTyping(event.target)) return;
    event.preventDefault();
    action();
  };
  window.addEventListener('keydown', onKey);
  return () => window.removeEventListener('keydown', onKey);
}

const isTyping = (target: EventTarget | null): boolean =>
  target instanceof HTMLElement && (target.isContentEditable || target.closest('input:not([type="checkbox"], [type="radio"], [type="button"]), textarea, select, [role="dialog"], [role="alertdialog"]') !== null);
