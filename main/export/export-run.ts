/** A stored run, reduced, as the files of an export. */
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { notesOf, type Note } from '../../app/journal/note.ts';
import { countingAttempts } from '../../app/reduce/counting.ts';
import { reduceRun, type Reduction } from '../../app/reduce/reduce.ts';
import type { MeasuredAt } from '../../app/results/drift.ts';
import type { RunState } from '../../app/journal/state.ts';
import { measuredAxes } from '../../app/tables/all.ts';
import type { GridAxes } from '../../app/tables/grid.ts';
import type { ArchiveReader } from '../archive/read.ts';
import { headText } from '../archive/ledger.ts';
import { placeOfRun } from '../archive/proof.ts';
import { csvFiles } from './csv.ts';
import { writeSet, type ExportDisk, type FileSet, type WriteResult } from './files.ts';
import { jsonFile } from './json.ts';
import { manifestFile } from './manifest.ts';

export function reduceState(state: { readonly plan: Plan; readonly equipment: Equipment } & Pick<RunState, 'setPoints' | 'points'>): Reduction {
  return reduceRun({ plan: state.plan, equipment: state.equipment, points: state.setPoints, attempts: countingAttempts(state) });
}

export interface RunExport {
  readonly archive: ArchiveReader;
  readonly runId: string;
  readonly state: RunState;
  /** Name and version of this program. */
  readonly software: string;
  /** Axes of the maps; absent: those that were measured. */
  readonly axes?: GridAxes;
}

/** When each attempt at a reference point ended: the time axis of a drift. */
export function timesOf(archive: ArchiveReader, runId: string, points: readonly Point[]): readonly MeasuredAt[] {
  const times: MeasuredAt[] = [];
  for (const { point, attempt, at } of archive.everyAttempt(runId)) if (points[point]?.role === 'reference') times.push({ point, attempt, time: at / 1e3 });
  return times;
}

/** What people wrote down of it (EXP-8). */
function notesInRun(archive: ArchiveReader, runId: string): readonly Note[] {
  return notesOf(archive.notedEvents().filter(({ id }) => id === runId).map(({ event }) => event));
}

/** Attempts, masses, budgets, lines, tables and maps as CSV, the whole reduction as JSON, and the manifest that names them (ARC-17). */
function filesOf({ archive, runId, state, software, axes = measuredAxes }: RunExport): FileSet {
  const { plan, equipment, notTraceable, setPoints: points } = state;
  const run = archive.run(runId);
  if (run === null) throw new Error(`the archive has no run ${runId}`);
  const under = archive.head();
  const provenance = { runId, order: run.order, began: run.createdAt, archiveId: archive.archiveId(), head: headText(under) };
  const reduction = reduceRun({ plan, equipment, points, attempts: countingAttempts(state) });
  return {
    files: [
      ...csvFiles({ provenance, notTraceable, plan, equipment, points, attempts: archive.everyAttempt(runId), reduction, axes }),
      jsonFile({ provenance, software, notTraceable, clocks: [...state.clocks.values()], plan, equipment, reduction, axes, times: timesOf(archive, runId, points), notes: notesInRun(archive, runId) }),
    ],
    closing: (written) => manifestFile({ provenance, software, notTraceable, place: placeOfRun(archive.ledger, runId, under), files: written }),
  };
}

/** Writes the files of a run into a folder of their own; throws the reason of `ending` when that is aborted meanwhile. */
export const exportRun = (directory: string, run: RunExport, disk?: ExportDisk, ending?: AbortSignal): Promise<WriteResult> => writeSet(directory, filesOf(run), disk, ending);
