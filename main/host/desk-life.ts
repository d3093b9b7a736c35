/** One injector over all runs of the archive, and what was written of it at each visit, for windows. HOST-111 */
import type { AnswerTo } from '../../app/contract/contract.ts';
import { lifeOf, type RunOfLife } from '../../app/results/life.ts';
import { identityQuestions, type PrintedRun } from '../../app/results/recognise.ts';
import type { Archive } from '../archive/archive.ts';
import { reduceState } from '../export/export-run.ts';
import { loadRun } from '../service/run-service.ts';
import { printedState } from './desk-recognise.ts';

type Told = AnswerTo<'injector.life'>;

/** Runs before one against which it is held (WIN-83): results of all their injectors are held at a time. */
const MOST_HELD = 6;

/** In steps, so that whoever ends the desk is heard between the runs. */
export async function injectorLife(archive: Archive, serialNumber: string, { turn, ending }: { readonly turn?: () => Promise<void>; readonly ending?: AbortSignal }): Promise<Told> {
  const runs: RunOfLife[] = [];
  const told: Told['runs'] = [];
  const unread: string[] = [];
  const questions: Told['questions'] = [];
  const latest: PrintedRun[] = [];
  // The list finds serial numbers that contain it too.
  for (const { id, createdAt, planName, order } of [...archive.everyRun({ text: serialNumber })].reverse()) {
    const loaded = loadRun(archive, id);
    if (!loaded.ok) unread.push(id);
    else if (loaded.state.plan.injectors.some((injector) => injector.serialNumber === serialNumber)) {
      const { state } = loaded;
      const reduction = reduceState(state);
      const { cells, staticFlows } = reduction;
      // Without its windows: all runs of an injector are held at a time.
      runs.push({ id, equipment: state.equipment, reduction: { cells: cells.filter((c) => c.serialNumber === serialNumber), staticFlows } });
      const print = printedState(id, state, reduction);
      const at = (run: string): number => told.find((one) => one.run === run)?.at ?? 0;
      questions.push(...identityQuestions(print, latest).filter((one) => one.serialNumber === serialNumber).map((one) => ({ ...one, run: id, ownAt: at(one.ownRun), likeAt: at(one.likeRun) })));
      latest.push(print);
      if (latest.length > MOST_HELD) latest.shift();
      told.push({ run: id, at: createdAt, planName, order, traceable: state.notTraceable.length === 0 });
    }
    await turn?.();
    ending?.throwIfAborted();
  }
  const places = lifeOf(runs, serialNumber).map(({ results, ...place }) => ({
    ...place,
    results: results.map(({ run, result, change }) => ({ run, value: result.value, expanded: result.expanded, change: change === null ? null : { value: change.value, expanded: change.expanded } })),
  }));
  return { runs: told, unread, places, questions, records: archive.visits.of(serialNumber).map((kept) => ({ ...kept })), visits: archive.library.partHistory(serialNumber).map((visit) => ({ ...visit })) };
}
