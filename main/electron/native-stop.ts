/**
 * STOP without a page (HOST-33): from the menu, and by a key that is heard whatever program is in front. Both go to the host's
 * process directly, so a page that hangs or is gone does not matter.
 */
import { deadManText } from '../../app/run/safe-words.ts';
import type { Clock } from '../clock/clock.ts';

/** The key of the page with two more: alone it is a common key of other programs. */
export const stopShortcut = 'CommandOrControl+Shift+F9';
/** For people. */
export const stopKeys = process.platform === 'darwin' ? 'Cmd+Shift+F9' : 'Ctrl+Shift+F9';

export type StopOrigin = 'menu' | 'shortcut';

export interface NativeStopParts {
  readonly clock: Clock;
  /** Takes the key from all other programs; false: it cannot be had. */
  readonly register: (keys: string, pressed: () => void) => boolean;
  readonly unregister: (keys: string) => void;
  /** To the host's process; false: there is none. */
  readonly send: (id: number, origin: StopOrigin) => boolean;
  /** Natively, without waiting for an answer. */
  readonly say: (title: string, text: string) => void;
  /** Shows the window, which says what becomes of it. */
  readonly toFront: () => void;
}

const ANSWER_MS = 2000;
const emergencyStop = 'Press the emergency stop of the bench, and look at it.';

export class NativeStop {
  readonly #parts: NativeStopParts;
  readonly #unanswered = new Map<number, () => void>();
  #id = 0;
  #has = false;
  #refusalSaid = false;

  constructor(parts: NativeStopParts) {
    this.#parts = parts;
  }

  /** Whether the key stops the bench now. */
  get hasKey(): boolean {
    return this.#has;
  }

  /** The key is this program's as long as a bench is connected, and the others' otherwise. */
  benchConnected(connected: boolean): void {
    if (connected === this.#has) return;
    if (!connected) {
      this.#has = false;
      this.#parts.unregister(stopShortcut);
      return;
    }
    this.#has = this.#parts.register(stopShortcut, () => {
      this.press('shortcut');
    });
    if (this.#has || this.#refusalSaid) return;
    this.#refusalSaid = true;
    this.#parts.say('The key for STOP could not be had', `The system does not give ${stopKeys} to this program; another one may have it. STOP works by the key F9 and its button in the window, and in the menu Bench.`);
  }

  press(origin: StopOrigin): void {
    const id = (this.#id += 1);
    this.#parts.toFront();
    if (!this.#parts.send(id, origin)) {
      this.#parts.say('STOP was not sent', `The host of this program is not there at the moment. ${deadManText()} ${emergencyStop}`);
      return;
    }
    const cancel = this.#parts.clock.after(ANSWER_MS, () => {
      this.#unanswered.delete(id);
      this.#parts.say('STOP was not confirmed', `The host of this program did not say within ${ANSWER_MS / 1000} s that it took STOP. ${emergencyStop}`);
    });
    this.#unanswered.set(id, cancel);
  }

  /** What the host said to a STOP. */
  answered({ id, accepted, text }: { readonly id: number; readonly accepted: boolean; readonly text: string }): void {
    this.#unanswered.get(id)?.();
    this.#unanswered.delete(id);
    if (!accepted) this.#parts.say('STOP was not carried out', `${text} ${emergencyStop}`);
  }
}
