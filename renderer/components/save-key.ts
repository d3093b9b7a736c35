import { useEffect, useRef } from 'react';

/** Ctrl+S (Cmd+S), wherever the focus is, saves what the page holds instead of the page itself. */
export function useSaveKey(save: () => void): void {
  const latest = useRef(save);
  useEffect(() => {
    latest.current = save;
  });
  useEffect(() => {
    const onKey = (event: KeyboardEvent): void => {
      if (event.key.toLowerCase() !== 's' || !(event.ctrlKey || event.metaKey) || event.altKey || event.shiftKey) return;
      event.preventDefault();
      if (!event.repeat) latest.current();
    };
    // Before the fields: those of the library pass no key on.
    window.addEventListener('keydown', onKey, true);
    return () => window.removeEventListener('keydown', onKey, true);
  }, []);
}
