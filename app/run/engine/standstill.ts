/** What follows from a host that stood still, or whose wall clock was set (RUN-164, RUN-168). */
import { HostTime, spanText } from '../host-time.ts';
import type { EngineCore } from './core.ts';
import type { Safety } from './safety.ts';

export class Standstill {
  readonly #core: EngineCore;
  readonly #safety: Safety;
  readonly #hostTime = new HostTime();
  readonly #longest: number;

  constructor(core: EngineCore, safety: Safety) {
    this.#core = core;
    this.#safety = safety;
    this.#longest = core.state.plan.byItself.gapS;
  }

  /** The host's clocks with each input. */
  take(now: number, wall: number | undefined, asleep: number | undefined): void {
    if (this.#hostTime.take(this.#longest, now, wall, asleep)) this.#tell();
  }

  /** `unwatched`: s that the controller's clock went on more than the host's: it tells of a suspended host where the host's own clocks do not. */
  takeFrame(unwatched: number): void {
    if (unwatched > this.#longest) this.#callPerson(unwatched);
  }

  #tell(): void {
    const { leap, stepped, stoodStill, wasSuspended } = this.#hostTime;
    if (this.#core.state.mode === 'ended') return;
    if (stepped) {
      const why = wasSuspended === null ? 'it was set, or the computer was suspended' : wasSuspended ? 'the computer was suspended' : 'it was set';
      const text = `The clock of this computer ${leap > 0 ? 'went on' : 'was set back'} by ${spanText(Math.abs(leap))}${leap > 0 ? ` more than its time since it was started: ${why}` : ''}.`;
      this.#core.emit({ kind: 'clock-stepped', by: Math.round(leap * 1e3) / 1e3, text });
    }
    if (stoodStill > this.#longest) this.#callPerson(stoodStill);
  }

  /** Nobody knows what went on at the bench meanwhile: a person looks, and resumes. */
  #callPerson(s: number): void {
    const { mode, safe } = this.#core.state;
    const goesOnByItself = this.#core.isDriving || mode === 'held' || (mode === 'making-safe' && safe?.then.kind === 'held');
    if (!goesOnByItself) return;
    this.#safety.callPerson('host-stood-still', `This computer or this program stood still for ${spanText(s)}, and nobody watched the bench meanwhile. Look at the bench, then resume.`);
  }
}
