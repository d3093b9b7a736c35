import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { shown } from '../../app/boundary/text.ts';
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
import { exportRun, reduceState, timesOf } from '../export/export-run.ts';
import { patientDisk } from '../export/files.ts';
import { loadRun } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, selfChecksForPrograms, tablesForPrograms, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { printBudget, printFindings, type OtherFluid } from './print-findings.ts';
import { notTraceableText, printTable } from './print-table.ts';
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
  if (notTraceable.length > 0 && !silent) process.stdout.write(`Run ${id}: ${notTraceableText(notTraceable)}\n`);
  return loaded.state;
}

/** Prints dead time and slope over voltage; cells without a value say why. */
export function printTables(reduction: Reduction, notTraceable: readonly string[]): void {
  for (const table of [...deadTimeTables(reduction), ...slopeTables(reduction)]) process.stdout.write(`\n${printTable(table, notTraceable)}\n`);
}

/** `number`: as people count points, from 1. */
function printBudgetOf(state: RunState, reduction: Reduction, number: number): void {
  const index = pointIndex(number);
  const found = reduction.windows.find((w) => w.point === index);
  if (found === undefined) {
    throw new Stop(exitCode.badInput, `No attempt counts for point ${number} of this run, so it has no budget. The points with attempts are in attempts.csv of an export.`);
  }
  const { at, attempt, outcome } = found;
  const serial = state.plan.injectors[at.injector]?.serialNumber ?? `channel ${at.channel}`;
  const what = `point ${number}, attempt ${attempt}: ${serial}, ${at.voltage} V, ${at.pressure / 1e3} kPa, PW ${Number((at.width * 1e3).toPrecision(6))} ms`;
  if (outcome.kind === 'no-mass') throw new Stop(exitCode.badInput, `${what}: ${outcome.text}`);
  process.stdout.write(`${printBudget(budgetTable(outcome, state.equipment), what)}\n`);
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
const headLine = (archive: Archive): string => `Archive ${archive.archiveId()}, head ${headText(archive.head())}\n`;

/** Opens an archive for reading, and closes it after the use. */
export function withArchive(path: string, use: (archive: Archive) => void | Promise<void>): Promise<void> {
  const archive = archivePlace(path, 'read');
  return Promise.resolve(use(archive)).finally(() => archive.close());
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
          process.stdout.write(
            `${run.id}  ${run.simulated === true ? 'simulated bench  ' : ''}${isoMinute(run.createdAt)}  ${shown(run.planName)}${run.order === '' ? '' : ` [${shown(run.order)}]`}: ${counts} of ${points} points accepted, ${attempts} attempts, ${endingWords(ending)}\n`,
          );
        }
        if (options.json === true) {
          printJson('runs', { kind: 'head', archiveId: archive.archiveId(), head: headText(archive.head()) });
          return;
        }
        if (listed === 0) process.stdout.write(options.find === undefined ? 'There is no run in it yet.\n' : 'No run in it contains that.\n');
        process.stdout.write(headLine(archive));
      }),
    );

  withJsonOption(program.command('reduce'))
    .description('print dead time and slope against voltage for each injector, with 95 % intervals')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--budget <point>', 'instead: the uncertainty budget of the attempt that counts for this point (counted from 1), input by input').argParser(wholeNumber).conflicts('json'))
    .addOption(new Option('--findings', 'also: slope model, static flow, linear flow range, curve over voltage, pressure exponent, drift, leak').conflicts('json'))
    .addOption(new Option('--other-density <kg/m3>', 'with --findings: static flow of a fluid of this density at 20 degC, as an estimate').argParser(density))
    .action((run: string | undefined, options: ResultOptions & { budget?: number; findings?: true; json?: true; otherDensity?: KilogramsPerCubicMetre }) =>
      withArchive(options.archive, (archive) => {
        const id = chosenRun(archive, run);
        const state = stateOf(archive, id, { silent: options.json === true });
        const reduction = reduceState(state);
        if (options.json === true) {
          printJson('reduce', { run: id, archiveId: archive.archiveId(), head: headText(archive.head()), notTraceable: [...state.notTraceable], ...selfChecksForPrograms(reduction, state.plan.injectors.map((i) => i.serialNumber)), tables: tablesForPrograms(reduction) });
          return;
        }
        if (options.budget !== undefined) {
          printBudgetOf(state, reduction, options.budget);
          return;
        }
        printTables(reduction, state.notTraceable);
        for (const sentence of grantedSentences(state.equipment)) process.stdout.write(`\n${sentence}\n`);
        process.stdout.write(`\nRun ${id}, ${headLine(archive)}`);
        if (options.findings !== true) return;
        process.stdout.write(`\nTime base (RUN-114)\n${state.clocks.size === 0 ? '  The run was too short, or too old, to compare the clock of the controller with that of the computer.' : [...state.clocks.values()].map((clock) => `  ${comparisonText(clock)}`).join('\n')}\n`);
        process.stdout.write(`\n${printFindings(reduction, timesOf(archive, id, state.setPoints), otherFluid(state, options.otherDensity))}\n`);
      }),
    );

  program
    .command('export')
    .description('write attempts, masses, budgets, lines, tables and maps as CSV, and the whole reduction as JSON')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--to <folder>', 'folder for the files; it is made if it is not there').default('tables'))
    .addOption(new Option('--voltages <V,...>', 'axis of the maps; without it the measured voltages').argParser(axis(1)).default([]))
    .addOption(new Option('--pressures <kPa,...>', 'axis of the maps; without it the measured pressures').argParser(axis(1e3)).default([]))
    .addOption(new Option('--widths <ms,...>', 'axis of the short-pulse correction; without it the measured widths').argParser(axis(1e-3)).default([]))
    .action((run: string | undefined, options: ResultOptions & { to: string } & GridAxes) =>
      withArchive(options.archive, async (archive) => {
        const runId = chosenRun(archive, run);
        const written = await exportRun(resolve(options.to), {
          archive,
          runId,
          state: stateOf(archive, runId),
          software,
          axes: { voltages: options.voltages, pressures: options.pressures, widths: options.widths },
        }, patientDisk(machineClock));
        if (written.kind === 'failed') throw new Stop(exitCode.badInput, written.text);
        for (const file of written.files) process.stdout.write(`${file}\n`);
        if (written.note !== null) process.stderr.write(`${written.note}\n`);
      }),
    );
}
