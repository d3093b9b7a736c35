import { resolve } from 'node:path';
import { Option, type Command } from 'commander';
import { expandPlan } from '../../app/plan/expand.ts';
import { reduceRun, type CountingAttempt, type Reduction } from '../../app/reduce/reduce.ts';
import type { RunState } from '../../app/run/fold.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { Archive } from '../archive/archive.ts';
import type { AttemptRecord } from '../archive/read.ts';
import { exportCsv } from '../export/csv.ts';
import { exportJson } from '../export/json.ts';
import { loadRun } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { archiveOption, archivePlace } from './places.ts';
import { printTable } from './print-table.ts';
import { Stop } from './stop.ts';

interface ResultOptions {
  readonly archive: string;
}

/** The attempts that count, one for each point that has one. */
function counting(state: RunState): CountingAttempt[] {
  return state.points.flatMap(({ chosen, attempts }, point) => {
    const window = attempts.find((a) => a.attempt === chosen)?.window ?? null;
    return chosen === null || window === null ? [] : [{ point, attempt: chosen, window }];
  });
}

function stateOf(archive: Archive, id: string): RunState {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) throw new Stop(loaded.code === 'no-such-run' ? exitCode.badInput : exitCode.archive, loaded.text);
  return loaded.state;
}

function reduced(state: RunState): Reduction {
  return reduceRun({ plan: state.plan, equipment: state.equipment, points: expandPlan(state.plan), attempts: counting(state) });
}

/** Prints dead time and slope over voltage for a run; cells without a value say why. */
export function printTables(archive: Archive, id: string): void {
  const reduction = reduced(stateOf(archive, id));
  for (const table of [...deadTimeTables(reduction), ...slopeTables(reduction)]) process.stdout.write(`\n${printTable(table)}\n`);
}

function withArchive(path: string, use: (archive: Archive) => void | Promise<void>): Promise<void> {
  const archive = archivePlace(path, 'read');
  return Promise.resolve(use(archive)).finally(() => archive.close());
}

export function addResultCommands(program: Command): void {
  program
    .command('runs')
    .description('list the runs of an archive, newest first')
    .addOption(archiveOption())
    .addOption(new Option('--find <text>', 'only runs whose plan, order, serial numbers or injector types contain this'))
    .action((options: ResultOptions & { find?: string }) =>
      withArchive(options.archive, (archive) => {
        let after: { createdAt: ReturnType<typeof archive.runs>[number]['createdAt']; id: string } | undefined;
        for (;;) {
          const page = archive.runs({ limit: 200, ...(after === undefined ? {} : { after }), ...(options.find === undefined ? {} : { text: options.find }) });
          for (const run of page) {
            const { points, counting: counts, attempts, ending } = run.status;
            process.stdout.write(
              `${run.id}  ${new Date(run.createdAt).toISOString().slice(0, 16).replace('T', ' ')}  ${run.planName}${run.order === '' ? '' : ` [${run.order}]`}: ${counts} of ${points} points accepted, ${attempts} attempts, ${ending ?? 'unfinished'}\n`,
            );
          }
          const last = page.at(-1);
          if (last === undefined) return;
          after = { createdAt: last.createdAt, id: last.id };
        }
      }),
    );

  program
    .command('reduce')
    .description('print dead time and slope against voltage for each injector, with 95 % intervals')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .action((run: string | undefined, options: ResultOptions) =>
      withArchive(options.archive, (archive) => printTables(archive, chosenRun(archive, run))),
    );

  program
    .command('export')
    .description('write attempts, masses and lines as CSV, and the whole reduction as JSON')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--to <folder>', 'folder for the files; it is made if it is not there').default('tables'))
    .action((run: string | undefined, options: ResultOptions & { to: string }) =>
      withArchive(options.archive, async (archive) => {
        const runId = chosenRun(archive, run);
        const { plan, equipment, ...state } = stateOf(archive, runId);
        const reduction = reduced({ plan, equipment, ...state });
        const folder = resolve(options.to);
        const written = [
          await exportCsv(folder, { plan, points: expandPlan(plan), attempts: everyAttempt(archive, runId), reduction }),
          await exportJson(folder, { runId, software, plan, equipment, reduction }),
        ];
        for (const result of written) {
          if (result.kind === 'failed') throw new Stop(exitCode.badInput, result.text);
          for (const file of result.files) process.stdout.write(`${file}\n`);
        }
      }),
    );
}

function* everyAttempt(archive: Archive, id: string): Generator<AttemptRecord> {
  let after: { point: number; attempt: number } | undefined;
  for (;;) {
    const page = archive.attempts(id, { limit: 1000, ...(after === undefined ? {} : { after }) });
    yield* page;
    const last = page.at(-1);
    if (last === undefined) return;
    after = { point: last.point, attempt: last.attempt };
  }
}
