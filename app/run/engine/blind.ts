/** Blind windows (RUN-210 to RUN-213): the secret shift of each is drawn and sealed before its pulses, and told when the run rests. */
import { blindShifts } from '../../plan/invariance.ts';
import { seconds } from '../../quantities/quantity.ts';
import type { Seconds } from '../../quantities/quantity.ts';
import type { BlindShift } from '../../journal/blind.ts';
import type { EngineCore } from './core.ts';

/** Where a run has its secrets from. The host's affair: it has chance and SHA-256. */
export interface BlindSource {
  /** A shift in whole steps from `low` to `high`, s, both kept and 0 among them, and its seal. */
  draw(of: Pick<BlindShift, 'point' | 'attempt'>, allowed: { readonly low: number; readonly high: number; readonly step: number }): BlindShift & { readonly seal: string };
}

export class Blind {
  readonly #core: EngineCore;
  readonly #source: BlindSource | null;
  /** Sealed and not told. They are lost with this program: then their windows count for nothing. */
  #secrets: BlindShift[] = [];

  /** `source` null: nobody has secrets, and blind windows are driven as they stand in the plan, without a seal. */
  constructor(core: EngineCore, source: BlindSource | null) {
    this.#core = core;
    this.#source = source;
  }

  /** The shift for the attempt that is going on: 0 for every point but a blind one. */
  shift(): Seconds {
    const { state, currentPoint: point, capabilities } = this.#core;
    const { current } = state;
    if (this.#source === null || current === null || point?.role !== 'blind') return seconds(0);
    const { low, high } = blindShifts(state.plan, point);
    const { seal, ...secret } = this.#source.draw(
      { point: current.point, attempt: current.attempt },
      { low: Math.max(low, capabilities.minWidth - point.width), high: Math.min(high, capabilities.maxWidth - point.width), step: capabilities.timerResolution },
    );
    this.#secrets.push(secret);
    this.#core.emit({ kind: 'blind-sealed', point: secret.point, attempt: secret.attempt, seal });
    return secret.shift;
  }

  /** The run rests: nothing that was driven blind can be changed any more. */
  tell(): void {
    if (this.#secrets.length === 0) return;
    const shifts = this.#secrets;
    this.#secrets = [];
    this.#core.emit({ kind: 'blind-unsealed', shifts });
  }
}
