/** What the schedule of a run says is to be measured next, worked out from its journal as it stands in the archive (RUN-231, SCH-1). */
import { decideNext, soFarOf, type DecidedNext } from '../../app/schedule/schedule.ts';
import type { Archive } from '../archive/archive.ts';
import { followRun } from './load-run.ts';

/** Works it out for a run, away from the thread that drives the bench; absent: it is done on that thread, between two frames (RUN-231). Never rejects. */
export type Decide = (run: string) => Promise<DecidedNext>;

export function decideStored(archive: Archive, run: string): DecidedNext {
  const loaded = followRun(archive, run);
  return loaded.ok ? { ok: true, decision: decideNext(soFarOf(loaded.state)) } : loaded;
}

/** Never throws: what is wrong with the program here is told to whoever waits, as the desk tells it. */
function decidedHere(archive: Archive, run: string): DecidedNext {
  try {
    return decideStored(archive, run);
  } catch (error) {
    return { ok: false, text: `The program found a fault of its own (${(error as Error).message}).` };
  }
}

/** Gives an engine what comes of each decision that it waits for, once: the decision, or why there is none. */
export class Decisions {
  readonly #archive: Archive;
  readonly #run: string;
  readonly #elsewhere: Decide | undefined;
  #given = 0;

  /** `elsewhere` absent: it is done on this thread, between two frames. */
  constructor(archive: Archive, run: string, elsewhere?: Decide) {
    this.#archive = archive;
    this.#run = run;
    this.#elsewhere = elsewhere;
  }

  /** `number`: of the decision that is waited for; null: none is. Everything that it goes by is committed. */
  give(number: number | null, take: (number: number, decided: DecidedNext) => void): void {
    if (number === null || number === this.#given) return;
    this.#given = number;
    if (this.#elsewhere === undefined) {
      take(number, decidedHere(this.#archive, this.#run));
      return;
    }
    void this.#elsewhere(this.#run).then((decided) => {
      take(number, decided);
    });
  }
}
