import { basename, resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { grantedSentences } from '../../app/equipment/standing.ts';
import { budgetTable } from '../../app/reduce/budget-table.ts';
import { pointIndex } from '../../app/plan/points.ts';
import { endingWords } from '../../app/run/ending.ts';
import { densityOfRun } from '../../app/fluid/density-of-run.ts';
import { celsius, kilopascals, type KilogramsPerCubicMetre } from '../../app/quantities/quantity.ts';
import type { Reduction } from '../../app/reduce/reduce.ts';
import type { RunState } from '../../app/journal/state.ts';
import { comparisonText } from '../../app/run/time-base.ts';
import { deadTimeTables, slopeTables } from '../../app/tables/dead-time.ts';
import type { GridAxes } from '../../app/tables/grid.ts';
import type { Archive } from '../archive/archive.ts';
import { headText } from '../archive/ledger.ts';
import { isoMinute, isoTime } from '../clock/dating.ts';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { exportRun, reduceState, timesOf } from '../export/export-run.ts';
import { patientDisk, type ExportDisk } from '../export/files.ts';
import { loadRun } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { budgetForPrograms, printJson, quietOption, selfChecksForPrograms, tablesForPrograms, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { budgetLines, findingLines, findingsOf, type OtherFluid } from './print-findings.ts';
import { notTraceableText, tableLines } from './print-table.ts';
import { LiveLine, say, tell, widthOf } from './say.ts';
import { Stop } from './stop.ts';
import { axis, decimal } from './values.ts';

interface ResultOptions {
  readonly archive: string;
}

/** The state of a stored run; stops the command where it cannot be had. Says first why its results cannot be traced, unless it is `silent` and its caller does. */
export function stateOf(archive: Archive, id: string, { silent = false } = {}): RunState {
  const loaded = loadRun(archive, id);
  if (!loaded.ok) throw new Stop(loaded.code === 'no-such-run' ? exitCode.badInput : exitCode.archive, loaded.text);
  const { notTraceable } = loaded.state;
  // Whatever is printed of this run stands under it.
  if (notTraceable.length > 0 && !silent) say(`Run ${id}: ${notTraceableText(notTraceable)}`);
  return loaded.state;
}

/** Prints dead time and slope over voltage; cells without a value say why. */
export function printTables(reduction: Reduction, notTraceable: readonly string[]): void {
  for (const table of [...deadTimeTables(reduction), ...slopeTables(reduction)]) say('', ...tableLines(table, notTraceable, widthOf(process.stdout, Number.POSITIVE_INFINITY)));
}

/** `number`: as people count points, from 1. */
function printBudgetOf(run: string, state: RunState, reduction: Reduction, number: number, json: boolean): void {
  const index = pointIndex(number);
  const found = reduction.windows.find((w) => w.point === index);
  if (found === undefined) {
    throw new Stop(exitCode.badInput, `No attempt counts for point ${number} of this run, so it has no budget. The points with attempts are in attempts.csv of an export.`);
  }
  const { at, attempt, outcome } = found;
  const serial = state.plan.injectors[at.injector]?.serialNumber ?? `channel ${at.channel}`;
  const what = `point ${number}, attempt ${attempt}: ${serial}, ${at.voltage} V, ${at.pressure / 1e3} kPa, PW ${Number((at.width * 1e3).toPrecision(6))} ms`;
  if (outcome.kind === 'no-mass') throw new Stop(exitCode.badInput, `${what}: ${outcome.text}`);
  const table = budgetTable(outcome, state.equipment);
  if (json) printJson('budget', { run, notTraceable: [...state.notTraceable], point: number, attempt, injector: serial, voltage: at.voltage, pressurePa: at.pressure, widthS: at.width, ...budgetForPrograms(table) });
  else say(...budgetLines(table, what, widthOf(process.stdout, Number.POSITIVE_INFINITY)));
}

function otherFluid({ equipment }: RunState, density: KilogramsPerCubicMetre | undefined): OtherFluid | null {
  if (density === undefined) return null;
  const own = densityOfRun(equipment, celsius(20), kilopascals(equipment.ambientKpa));
  if (own === null) throw new Stop(exitCode.badInput, 'The density of the fluid of this run is not known at 20 degC, so nothing can be estimated for another.');
  return { measuredWith: own.density, density };
}

function density(text: string): KilogramsPerCubicMetre {
  const value = decimal(text);
  if (!(value >= 300 && value <= 2000)) throw new InvalidArgumentError('A density of a liquid lies between 300 and 2000 kg/m3.');
  return value as KilogramsPerCubicMetre;
}

function wholeNumber(text: string): number {
  if (!/^\d+$/u.test(text)) throw new InvalidArgumentError('A point is a whole number, 0 or more.');
  return Number(text);
}

/** What a list or table was taken from, to be noted with it (ARC-9). */
const headLine = (archive: Archive): string => `Archive ${archive.archiveId()}, head ${headText(archive.head())}`;

/** Opens an archive for reading, and closes it after the use. */
export function withArchive(path: string, use: (archive: Archive) => void | Promise<void>): Promise<void> {
  const archive = archivePlace(path, 'read');
  return Promise.resolve(use(archive)).finally(() => archive.close());
}

/** The disk, and somebody told of what goes onto it. How long it will be is not known before it is written. */
function toldOf(disk: ExportDisk, line: LiveLine, quiet: boolean): ExportDisk {
  if (quiet) return disk;
  let bytes = 0;
  return {
    ...disk,
    create: async (path) => {
      const file = await disk.create(path);
      return {
        ...file,
        write: async (piece) => {
          bytes += piece.length;
          line.show(() => [`Writing ${basename(path)}, ${(bytes / 1e6).toFixed(1)} MB until now`, `${(bytes / 1e6).toFixed(1)} MB`]);
          await file.write(piece);
        },
      };
    },
  };
}

// eslint-disable-next-line max-lines-per-function -- commands and their options, one after the other
export function addResultCommands(program: Command): void {
  withJsonOption(program.command('runs'))
    .description('list the runs of an archive, newest first')
    .addOption(archiveOption())
    .addOption(new Option('--find <text>', 'only runs whose plan, order, serial numbers or injector types contain this'))
    .action((options: ResultOptions & { find?: string; json?: true }) =>
      withArchive(options.archive, (archive) => {
        let listed = 0;
        for (const run of archive.everyRun(options.find === undefined ? {} : { text: options.find })) {
          const { points, counting: counts, attempts, ending } = run.status;
          listed += 1;
          if (options.json === true) {
            printJson('runs', { kind: 'run', id: run.id, created: isoTime(run.createdAt), plan: run.planName, order: run.order, simulated: run.simulated, points, accepted: counts, attempts, ending });
            continue;
          }
          say(
            `${run.id}  ${run.simulated === true ? 'simulated bench  ' : ''}${isoMinute(run.createdAt)}  ${run.planName}${run.order === '' ? '' : ` [${run.order}]`}: ${counts} of ${points} points accepted, ${attempts} attempts, ${endingWords(ending)}`,
          );
        }
        if (options.json === true) {
          printJson('runs', { kind: 'head', archiveId: archive.archiveId(), head: headText(archive.head()) });
          return;
        }
        if (listed === 0) say(options.find === undefined ? 'There is no run in it yet.' : 'No run in it contains that.');
        say(headLine(archive));
      }),
    );

  withJsonOption(program.command('reduce'))
    .description('print dead time and slope against voltage for each injector, with 95 % intervals')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--budget <point>', 'instead: the uncertainty budget of the attempt that counts for this point (counted from 1), input by input').argParser(wholeNumber).conflicts('findings'))
    .addOption(new Option('--findings', 'also: slope model, static flow, linear flow range, curve over voltage, pressure exponent, drift, leak'))
    .addOption(new Option('--other-density <kg/m3>', 'with --findings: static flow of a fluid of this density at 20 degC, as an estimate').argParser(density))
    .action((run: string | undefined, options: ResultOptions & { budget?: number; findings?: true; json?: true; otherDensity?: KilogramsPerCubicMetre }) =>
      withArchive(options.archive, (archive) => {
        const id = chosenRun(archive, run);
        const state = stateOf(archive, id, { silent: options.json === true });
        const reduction = reduceState(state);
        const json = options.json === true;
        const findings = options.findings === true ? findingsOf(reduction, timesOf(archive, id, state.setPoints), otherFluid(state, options.otherDensity)) : null;
        if (options.budget !== undefined) {
          printBudgetOf(id, state, reduction, options.budget, json);
          return;
        }
        if (json) {
          printJson('reduce', { run: id, archiveId: archive.archiveId(), head: headText(archive.head()), notTraceable: [...state.notTraceable], ...selfChecksForPrograms(reduction, state.plan.injectors.map((i) => i.serialNumber)), tables: tablesForPrograms(reduction), ...(findings === null ? {} : { findings: findings.map(({ title, lines }) => ({ title, lines: [...lines] })) }) });
          return;
        }
        printTables(reduction, state.notTraceable);
        say(...grantedSentences(state.equipment, reduction.supplyLoss !== undefined).flatMap((sentence) => ['', sentence]), '', `Run ${id}, ${headLine(archive)}`);
        if (findings === null) return;
        const clocks = state.clocks.size === 0 ? ['The run was too short, or too old, to compare the clock of the controller with that of the computer.'] : [...state.clocks.values()].map(comparisonText);
        say(...findingLines([{ title: 'Time base (RUN-114)', lines: clocks }, ...findings]));
      }),
    );

  withJsonOption(program.command('export'))
    .description('write attempts, masses, budgets, lines, tables and maps as CSV, and the whole reduction as JSON')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--to <folder>', 'folder for the files; it is made if it is not there').default('tables'))
    .addOption(new Option('--voltages <V,...>', 'axis of the maps, 200 places at most').argParser(axis(1)).default([], 'the measured voltages'))
    .addOption(new Option('--pressures <kPa,...>', 'axis of the maps, 200 places at most').argParser(axis(1e3)).default([], 'the measured pressures'))
    .addOption(new Option('--widths <ms,...>', 'axis of the short-pulse correction, 200 places at most').argParser(axis(1e-3)).default([], 'the measured widths'))
    .addOption(quietOption())
    .action((run: string | undefined, options: ResultOptions & { to: string; json?: true; quiet?: true } & GridAxes) =>
      withArchive(options.archive, async (archive) => {
        const runId = chosenRun(archive, run);
        const folder = resolve(options.to);
        const of = { archive, runId, state: stateOf(archive, runId, { silent: options.json === true }), software, axes: { voltages: options.voltages, pressures: options.pressures, widths: options.widths } };
        const line = new LiveLine();
        const stopped = new AbortController();
        const writing = exportRun(folder, of, toldOf(patientDisk(machineClock), line, options.quiet === true), stopped.signal);
        // Whoever ends the program early finds the folder as it was, and nothing beside it (CLI-17).
        const takeBack = ending.last(async () => {
          stopped.abort(new Error('The export was ended.'));
          await writing.catch(() => undefined);
        });
        const written = await writing
          .catch((error: unknown) => {
            throw stopped.signal.aborted ? new Stop(exitCode.unfinished, `The export was ended before it was whole. Nothing of it is left; the folder ${folder} is as it was.`) : error;
          })
          .finally(takeBack);
        line.clear();
        if (written.kind === 'failed') throw new Stop(exitCode.badInput, written.text);
        if (options.json === true) printJson('export', { run: runId, folder, files: [...written.files] });
        else say(...written.files);
        if (written.note !== null) tell(written.note);
      }),
    );
}
