import { useEffect } from 'react';
import { stopNow } from '../host/host.ts';

/** Taken by no browser, no field and no reader of the screen, and on every keyboard. */
const stopKey = 'F9';

/**
 * The stop: in the same place on every page, above dialogs, always enabled, without a question. The key is heard before
 * any field or dialog hears it, and repeats of a held key are one stop. It acts on pressing, not on letting go.
 */
export function StopButton() {
  useEffect(() => {
    const onKey = (event: KeyboardEvent): void => {
      if (event.key !== stopKey) return;
      event.preventDefault();
      event.stopImmediatePropagation();
      if (!event.repeat) void stopNow();
    };
    window.addEventListener('keydown', onKey, { capture: true });
    return () => window.removeEventListener('keydown', onKey, { capture: true });
  }, []);
  return (
    <div className="stop" data-react-aria-top-layer="true">
      <button
        type="button"
        className="stop-button"
        aria-keyshortcuts={stopKey}
        title="Injectors off, supply to its safe value, disarmed. Does not ask. Always works, also with a dialog open. It does not replace the emergency stop of the bench."
        onPointerDown={(event) => {
          if (event.button === 0) void stopNow();
        }}
        onClick={(event) => {
          // A click by keyboard or reader has no pointer before it.
          if (event.detail === 0) void stopNow();
        }}
      >
        <span className="stop-word">STOP</span>
        <span className="stop-key">key {stopKey}</span>
      </button>
    </div>
  );
}
