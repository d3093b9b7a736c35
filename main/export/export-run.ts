/** A stored run, reduced, as the files of an export. */
import type { Equipment } from '../../app/equipment/equipment.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { countingAttempts } from '../../app/reduce/counting.ts';
import { reduceRun, type Reduction } from '../../app/reduce/reduce.ts';
import type { MeasuredAt } from '../../app/reduce/drift.ts';
import type { RunState } from '../../app/run/fold.ts';
import { measuredAxes } from '../../app/tables/all.ts';
import type { GridAxes } from '../../app/tables/grid.ts';
import type { ArchiveReader } from '../archive/read.ts';
import { exportCsv } from './csv.ts';
import type { ExportDisk, WriteResult } from './files.ts';
import { exportJson } from './json.ts';

export function reduceState(state: { readonly plan: Plan; readonly equipment: Equipment } & Pick<RunState, 'points'>): Reduction {
  return reduceRun({ plan: state.plan, equipment: state.equipment, points: expandPlan(state.plan), attempts: countingAttempts(state) });
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

/** When each attempt ended: the time axis of a drift. */
export function timesOf(archive: ArchiveReader, runId: string): readonly MeasuredAt[] {
  return [...archive.everyAttempt(runId)].map(({ point, attempt, at }) => ({ point, attempt, time: at / 1e3 }));
}

/** Writes attempts, masses, budgets, lines, tables and maps as CSV and the whole reduction as JSON into `directory`. */
export async function exportRun(directory: string, { archive, runId, state, software, axes = measuredAxes }: RunExport, disk?: ExportDisk): Promise<WriteResult> {
  const { plan, equipment, notTraceable } = state;
  const reduction = reduceState(state);
  const csv = await exportCsv(directory, { notTraceable, plan, equipment, points: expandPlan(plan), attempts: archive.everyAttempt(runId), reduction, axes }, disk);
  if (csv.kind === 'failed') return csv;
  const json = await exportJson(directory, { runId, software, notTraceable, clocks: [...state.clocks.values()], plan, equipment, reduction, axes, times: timesOf(archive, runId) }, disk);
  return json.kind === 'failed' ? json : { kind: 'written', files: [...csv.files, ...json.files] };
}

/** A disk that is kept in memory, for who hands the files on. */
export function memoryDisk(): { readonly disk: ExportDisk; readonly texts: ReadonlyMap<string, string> } {
  const texts = new Map<string, string>();
  const done = (): Promise<void> => Promise.resolve();
  return {
    texts,
    disk: {
      mkdir: done,
      create: (path) => {
        const pieces: string[] = [];
        return Promise.resolve({
          write: (text) => {
            pieces.push(text);
            return done();
          },
          finish: () => {
            texts.set(path, pieces.join(''));
            return done();
          },
          abandon: done,
        });
      },
      rename: (from, to) => {
        const text = texts.get(from);
        texts.delete(from);
        if (text !== undefined) texts.set(to, text);
        return done();
      },
      unlink: (path) => {
        texts.delete(path);
        return done();
      },
    },
  };
}
