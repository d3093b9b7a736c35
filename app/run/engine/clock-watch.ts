/** The controller's clock beside the host's, as the run writes it down and stops for it (RUN-114 to RUN-117). */
import { clocksText, comparisonText, isBeyond, TimeBase } from '../time-base.ts';
import type { EngineCore } from './core.ts';

/** The two clocks are written down first when they were compared over so long, s, then whenever that has doubled, and at each way to safe. */
const firstComparison = 60;

export class ClockWatch {
  readonly #core: EngineCore;
  readonly #timeBase = new TimeBase();
  /** Controller time that the comparison rested on when it was looked at and when it was told last, and when it is due again, s. */
  #comparedOver = 0;
  #toldOver = 0;
  #tellFrom = firstComparison;

  constructor(core: EngineCore) {
    this.#core = core;
  }

  /** `impossible`: the controller's clock cannot be that; it is compared anew. */
  add(at: number, impossible: boolean): void {
    if (impossible) this.#timeBase.forget();
    if (this.#timeBase.add(this.#core.now, at) || impossible) this.#beginTelling();
  }

  forget(): void {
    this.#timeBase.forget();
    this.#beginTelling();
  }

  /** Writes down what is due while the bench is driven; why the run must stop, or null. */
  check(): string | null {
    const { comparison } = this.#timeBase;
    if (comparison === null || comparison.duration === this.#comparedOver) return null;
    this.#comparedOver = comparison.duration;
    // A rest writes nothing by itself.
    if (!this.#core.isDriving) return null;
    const refusal = this.refusal();
    if (comparison.duration >= this.#tellFrom || (refusal !== null && this.#toldOver === 0)) this.tell();
    return refusal;
  }

  /** Writes the comparison down as it stands, if it rests on more than the one before. */
  tell(): void {
    const { comparison } = this.#timeBase;
    const { bench } = this.#core.state;
    if (comparison === null || bench === null || comparison.duration <= this.#toldOver) return;
    this.#toldOver = comparison.duration;
    this.#tellFrom = 2 * comparison.duration;
    this.#core.emit({ kind: 'clocks-compared', bootId: bench.bootId, comparison, text: clocksText(comparison) });
  }

  /** Why nothing may be measured by this controller's clock; null: it may, as far as is known. */
  refusal(): string | null {
    const { comparison } = this.#timeBase;
    const { equipment } = this.#core.state;
    if (comparison === null || equipment.equipmentVersion !== 2) return null;
    const { refuseAbovePpm } = equipment.timeBase;
    if (!isBeyond(comparison, refuseAbovePpm * 1e-6)) return null;
    return `${comparisonText(comparison)} The equipment record allows ${refuseAbovePpm} millionths: pulse widths, and with them slope and dead time, would be off by as much. Have the oscillator of the controller looked at, and the clock of this computer.`;
  }

  #beginTelling(): void {
    this.#comparedOver = 0;
    this.#toldOver = 0;
    this.#tellFrom = firstComparison;
  }
}
