/** Injectors of a run that may be others by their own numbers, from the archive, for windows. HOST-142 */
import type { AnswerTo } from '../../app/contract/contract.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Reduction } from '../../app/reduce/reduction.ts';
import { identityQuestions, printedRun, type PrintedRun } from '../../app/results/recognise.ts';
import type { Archive } from '../archive/archive.ts';
import type { StoredRun } from '../archive/read.ts';
import { reduceState } from '../export/export-run.ts';
import { loadRun } from '../service/run-service.ts';

type Told = AnswerTo<'run.recognise'>;

/** Of the order, and of each injector its own latest: what is older tells little more. */
const LATEST_OF_ORDER = 2;
const LATEST_OF_EACH = 1;
/** All of them together: reducing a large run takes seconds. */
const MOST_RUNS = 8;

export function printedState(id: string, state: RunState, { cells, staticFlows }: Pick<Reduction, 'cells' | 'staticFlows'> = reduceState(state)): PrintedRun {
  const types = new Map(state.plan.injectors.map(({ serialNumber, type }) => [serialNumber, type]));
  return printedRun({ id, equipment: state.equipment, order: state.plan.order, types, reduction: { cells, staticFlows } });
}

/** null: there is no such run. In steps, so that whoever ends the desk is heard between the runs. */
export async function recognisedInjectors(archive: Archive, id: string, { turn, ending }: { readonly turn?: () => Promise<void>; readonly ending?: AbortSignal }): Promise<Told | null> {
  const run = archive.run(id);
  if (run === null) return null;
  const loaded = loadRun(archive, id);
  if (!loaded.ok) return { questions: [], held: 0, unread: [id] };
  const before = earlierRuns(archive, run, loaded.state);
  const unread: string[] = [];
  const prints: PrintedRun[] = [];
  for (const { id: other } of before) {
    const earlier = loadRun(archive, other);
    if (earlier.ok) prints.push(printedState(other, earlier.state));
    else unread.push(other);
    await turn?.();
    ending?.throwIfAborted();
  }
  const at = (other: string): number => before.find((one) => one.id === other)?.createdAt ?? 0;
  const questions = identityQuestions(printedState(id, loaded.state), prints).map((one) => ({ ...one, ownAt: at(one.ownRun), likeAt: at(one.likeRun) }));
  return { questions, held: prints.length, unread };
}

/** The latest before it that have one of its injectors, or its order; the oldest first. */
function earlierRuns(archive: Archive, run: StoredRun, { plan }: RunState): readonly StoredRun[] {
  const found = new Map<string, StoredRun>();
  const add = (text: string, most: number): void => {
    let left = most;
    // The latest come first; the list finds what contains the text too.
    for (const one of archive.everyRun({ text })) {
      if (left === 0) return;
      if (one.createdAt >= run.createdAt || one.id === run.id) continue;
      found.set(one.id, one);
      left -= 1;
    }
  };
  for (const { serialNumber } of plan.injectors) add(serialNumber, LATEST_OF_EACH);
  if (plan.order !== '') add(plan.order, LATEST_OF_ORDER);
  return [...found.values()].sort((a, b) => b.createdAt - a.createdAt).slice(0, MOST_RUNS).reverse();
}
