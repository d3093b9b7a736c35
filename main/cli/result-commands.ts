import { resolve } from 'node:path';
import { Option, type Command } from 'commander';
import type { RunState } from '../../app/run/fold.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { Archive } from '../archive/archive.ts';
import { exportRun, reduceState } from '../export/export-run.ts';
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

function stateOf(archive: Archive, id: string): RunState {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) throw new Stop(loaded.code === 'no-such-run' ? exitCode.badInput : exitCode.archive, loaded.text);
  return loaded.state;
}

/** Prints dead time and slope over voltage for a run; cells without a value say why. */
export function printTables(archive: Archive, id: string): void {
  const reduction = reduceState(stateOf(archive, id));
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
        const written = await exportRun(resolve(options.to), { archive, runId, state: stateOf(archive, runId), software });
        if (written.kind === 'failed') throw new Stop(exitCode.badInput, written.text);
        for (const file of written.files) process.stdout.write(`${file}\n`);
      }),
    );
}
