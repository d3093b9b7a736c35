/** Work by hand from a window: whether the open run lets it, and what the windows are told of it. */
import type { EventData } from '../../app/contract/contract.ts';
import type { ManualAnswer, ManualBench } from '../service/manual-bench.ts';
import type { BenchAtHost } from './bench-at-host.ts';
import type { Changes } from './changes.ts';
import { Failed, noBench } from './outcome.ts';
import type { RunAtHost } from './run-at-host.ts';
import type { Tell } from './sessions.ts';

interface HandParts {
  readonly bench: BenchAtHost;
  readonly runs: RunAtHost;
  readonly changes: Changes;
  readonly tell: Tell;
}

export class HandWork {
  readonly #parts: HandParts;
  #lastTold = '';

  constructor(parts: HandParts) {
    this.#parts = parts;
  }

  view(): EventData<'manual'> {
    const { connected } = this.#parts.bench;
    if (connected === null) return null;
    const view = connected.manual.view();
    const against = this.#against();
    return against === null ? view : { ...view, against };
  }

  async do(work: (manual: ManualBench) => Promise<ManualAnswer>): Promise<ManualAnswer | Failed> {
    const { bench, runs, changes } = this.#parts;
    if (bench.connected === null) return noBench();
    if (changes.underWay !== null) return new Failed('busy', `${changes.underWay} at the moment. Nothing was driven.`);
    const { manual } = bench.connected;
    const refusal = (): Failed | null => {
      const against = this.#against();
      return against === null ? null : new Failed('refused', `${against} Nothing was driven by hand.`);
    };
    const before = refusal();
    if (before !== null) return before;
    if (runs.run?.state.mode === 'paused') runs.run.setAside();
    // That it is set aside may not have got into its journal.
    const after = refusal();
    if (after !== null) return after;
    const answer = await work(manual);
    runs.handOver();
    this.tell();
    return answer;
  }

  /** The faults of the controller, where no open run has to know of them. */
  clearFaults(): Promise<ManualAnswer> | Failed {
    const { bench, runs } = this.#parts;
    if (bench.connected === null) return noBench();
    const mode = runs.run?.state.mode;
    if (mode !== undefined && mode !== 'ready' && mode !== 'ended') return new Failed('refused', 'A run is open. Acknowledge its trip, which clears the faults of the controller too.');
    return bench.connected.manual.clearFaults();
  }

  /** The windows, where it has changed. */
  tell(): void {
    const view = this.view();
    const text = JSON.stringify(view);
    if (text === this.#lastTold) return;
    this.#lastTold = text;
    this.#parts.tell('manual', view);
  }

  /** Why the open run does not let anybody work by hand; null: it does. */
  #against(): string | null {
    const { run } = this.#parts.runs;
    if (run?.isFailing === true) return 'The open run was given up, so nothing could be noted in its journal. Close it first.';
    const mode = run?.state.mode;
    switch (mode) {
      case undefined:
      case 'ready':
      case 'paused':
      case 'ended':
        return null;
      case 'tripped':
        return 'The run has tripped. Find the cause and acknowledge it first.';
      case 'proving':
      case 'measuring':
      case 'making-safe':
      case 'held':
        return 'A run is going on. Pause it first.';
    }
  }
}
