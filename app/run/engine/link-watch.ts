/** The link to the bench: down, up again, and with a controller that was reset (RUN-25). */
import type { ClockWatch } from './clock-watch.ts';
import type { EngineCore } from './core.ts';
import type { LatestReadings } from './readings.ts';
import type { Safety } from './safety.ts';
import type { EngineSettings } from './settings.ts';

export class LinkWatch {
  readonly #core: EngineCore;
  readonly #settings: EngineSettings;
  readonly #readings: LatestReadings;
  readonly #clocks: ClockWatch;
  readonly #safety: Safety;

  constructor(core: EngineCore, settings: EngineSettings, readings: LatestReadings, clocks: ClockWatch, safety: Safety) {
    this.#core = core;
    this.#settings = settings;
    this.#readings = readings;
    this.#clocks = clocks;
    this.#safety = safety;
  }

  /** Why it was not acted upon; null: it was. */
  down(reason: string): string | null {
    const first = this.#core.state.linkUp;
    const known = !first && reason === this.#core.downReason;
    if (!known) this.#core.emit({ kind: first ? 'link-lost' : 'link-not-restored', text: reason });
    this.#core.downReason = reason;
    if (!first) return known ? 'The link counted as down already.' : null;
    this.#core.forgetFrames();
    if (this.#core.isDriving) this.#safety.hold('link', `The link to the bench was lost: ${reason}`);
    return null;
  }

  /** Why it was not acted upon; null: it was. */
  up(bootId: string): string | null {
    const { state } = this.#core;
    const reset = bootId !== state.bench?.bootId;
    if (state.linkUp && !reset) return 'The link counted as up already.';
    this.#safety.clearSince = this.#core.now;
    if (reset) this.reset(bootId);
    else this.#core.emit({ kind: 'link-restored', bootId, text: 'The link is back; the controller was not reset meanwhile.' });
    return null;
  }

  /** Another boot id: nothing that was set on the controller holds any more. */
  reset(bootId: string): void {
    this.#clocks.tell();
    this.#core.emit({ kind: 'link-restored', bootId, text: 'The controller was reset; it is set up again before anything is measured.' });
    this.#settings.forgetAfterReset();
    this.#core.frame = null;
    this.#readings.forget();
    this.#clocks.forget();
    if (this.#core.isDriving) this.#safety.hold('reset', 'The controller was reset.');
  }
}
