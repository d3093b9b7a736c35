/** What the schedule of a run says is to be measured next, worked out from its journal as it stands in the archive (RUN-231, SCH-1). */
import { decideNext, soFarOf, type ScheduleDecision } from '../../app/schedule/schedule.ts';
import type { Archive } from '../archive/archive.ts';
import { loadRun } from './load-run.ts';

type Decided = { readonly ok: true; readonly decision: ScheduleDecision } | { readonly ok: false; readonly text: string };
/** Works it out for a run, away from the thread that drives the bench; absent: it is done on that thread, between two frames (RUN-231). Never rejects. */
export type Decide = (run: string) => Promise<Decided>;

export function decideStored(archive: Archive, run: string): Decided {
  const loaded = loadRun(archive, run);
  return loaded.ok ? { ok: true, decision: decideNext(soFarOf(loaded.state)) } : loaded;
}

/** Gives an engine each decision that it waits for, once. Without one the engine calls a person by itself. */
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
  give(number: number | null, take: (number: number, decision: ScheduleDecision) => void): void {
    if (number === null || number === this.#given) return;
    this.#given = number;
    const pass = (decided: Decided): void => {
      if (decided.ok) take(number, decided.decision);
    };
    if (this.#elsewhere === undefined) pass(decideStored(this.#archive, this.#run));
    else void this.#elsewhere(this.#run).then(pass);
  }
}
