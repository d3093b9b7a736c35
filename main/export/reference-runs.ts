/** What the runs of an archive say of their reference injectors. */
import type { RunWithReference } from '../../app/charts/reference-history.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { ArchiveReader } from '../archive/read.ts';
import { reduceState } from './export-run.ts';

/** Every run that has reference points, with these reduced and nothing else, the latest first. `load`: the state of a run; null: it is left out. */
export function* runsWithReference(archive: Pick<ArchiveReader, 'everyRun'>, load: (id: string) => RunState | null): Generator<RunWithReference> {
  for (const { id, createdAt } of archive.everyRun()) {
    const state = load(id);
    if (state?.plan.reference === undefined) continue;
    const references = { ...state, points: state.points.changed((p, i) => (state.setPoints[i]?.role === 'reference' ? p : { ...p, chosen: null })) };
    yield { id, at: createdAt, plan: state.plan, equipment: state.equipment, windows: reduceState(references).windows };
  }
}
