/** What the runs of an archive tell of a type of injector, for a plan that begins where these ended (SCH-12, PLAN-98). */
import type { RunState } from '../../app/journal/state.ts';
import type { KnownType } from '../../app/schedule/cells.ts';
import { knownOf, type EarlierRun } from '../../app/schedule/known.ts';
import type { ArchiveReader } from '../archive/read.ts';
import { reduceState } from './export-run.ts';

/** So many runs are read, the latest first: where lines begin was found within 6 % from three (simulated benches). */
const mostRuns = 3;

/**
 * Of a type at a pressure, kPa; null: no run tells where its lines begin. `load`: the state of a run; null: it is left out. Runs of the simulated bench tell nothing of injectors that are there: they are
 * taken only where the latest run of the type is one of them, and never with others.
 */
export function knownInArchive(archive: Pick<ArchiveReader, 'everyRun'>, load: (id: string) => RunState | null, type: string, pressureKpa: number): KnownType | null {
  const found: (EarlierRun & { readonly id: string })[] = [];
  let simulated: boolean | null | undefined;
  for (const run of archive.everyRun()) {
    if (simulated !== undefined && run.simulated !== simulated) continue;
    const state = load(run.id);
    if (state === null || !state.plan.axes.pressureKpa.includes(pressureKpa) || !state.plan.injectors.some((i) => i.type === type)) continue;
    const earlier = { id: run.id, plan: state.plan, reduction: reduceState(state) };
    // What tells nothing by itself, a run that was broken off early, takes no place of one that does.
    if (knownOf([earlier], type, pressureKpa, run.id) === null) continue;
    simulated = run.simulated;
    found.push(earlier);
    if (found.length === mostRuns) break;
  }
  const ids = found.map((run) => run.id).join(', ');
  return knownOf(found, type, pressureKpa, `${found.length === 1 ? 'run' : 'runs'} ${ids}${simulated === true ? ', of the simulated bench' : ''}`);
}
