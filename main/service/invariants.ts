/** What must hold after every step of a run whatever came in (RUN-201). Looked at in production: a program that is wrong about itself drives nothing. */
import type { BenchRequest } from '../../app/bench/port.ts';
import type { RunEvent } from '../../app/journal/events.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { EngineOutput } from '../../app/run/engine.ts';
import { restingModes } from '../../app/run/machine.ts';

/** What brings energy to a bench (STORM-13). */
const drives: ReadonlySet<BenchRequest['kind']> = new Set<BenchRequest['kind']>(['arm', 'set-supply', 'burst']);

/** What is broken after a step of the engine, before anything of it is committed; null: nothing. `revision`: that of the state before. */
export function brokenByStep({ events, requests }: Pick<EngineOutput, 'events' | 'requests'>, state: Pick<RunState, 'mode' | 'current' | 'revision'>, revision: number): string | null {
  if (state.revision !== revision + events.length) {
    return `Its state has taken ${state.revision - revision} events where ${events.length} were written (RUN-1).`;
  }
  const asked = requests.find(({ request }) => drives.has(request.kind));
  if (asked !== undefined && state.mode !== 'proving' && state.mode !== 'measuring') return `It wanted to ask the bench for "${asked.request.kind}" while it is ${state.mode}.`;
  if (state.current !== null && restingModes.includes(state.mode)) return `An attempt at a point is open while it is ${state.mode} (RUN-3).`;
  return null;
}

/** What is broken between the journal on the disk and the state after a commit; null: nothing. */
export function brokenByCommit(written: readonly RunEvent[], state: Pick<RunState, 'revision'>): string | null {
  const last = written.at(-1);
  return last === undefined || last.seq + 1 === state.revision ? null : `The journal on the disk has ${last.seq + 1} events and the state of the run ${state.revision} (RUN-1).`;
}
