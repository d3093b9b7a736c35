import { existsSync } from 'node:fs';
import { resolve } from 'node:path';
import { Option, type Command } from 'commander';
import { pointIndex, shownPoint } from '../../app/plan/points.ts';
import { changedPart, targetPlace, wantedUs } from '../../app/plan/wanted.ts';
import type { RunCommand } from '../../app/journal/events.ts';
import { endingWords } from '../../app/run/ending.ts';
import { pointsWithoutResult } from '../../app/journal/targets.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Archive } from '../archive/archive.ts';
import { machineEntropy } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { reduceState } from '../export/export-run.ts';
import { samplePath } from '../samples/samples.ts';
import { loadRun, RunService, type WhichRun } from '../service/run-service.ts';
import { software } from '../service/software.ts';
import { chosenRun } from './chosen-run.ts';
import { commandLine } from './command-line.ts';
import { equipmentFor, planFile } from './documents.ts';
import { drive } from './drive.ts';
import { withEndByInput } from './end-with-input.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace, commandBench, equipmentOption, freeDiskBytes, withBenchOptions, withHeadOptions, type BenchOptions, type HeadOptions } from './places.ts';
import { sheetForPrograms, sheetLines } from './plan-commands.ts';
import { printTables } from './result-commands.ts';
import { tell } from './say.ts';
import { Stop } from './stop.ts';
import { variables } from './surroundings.ts';
import { decimal } from './values.ts';
import { demonstrator, whoMeasures } from './who-measures.ts';

interface RunOptions extends BenchOptions, HeadOptions {
  readonly archive: string;
  readonly operator?: string;
  readonly equipment?: string;
  readonly notTraceable?: boolean;
  readonly waitForBench: number;
  readonly everyPoint?: boolean;
  readonly quiet?: boolean;
  readonly json?: boolean;
}

const WAIT_FOR_BENCH_S = 60;

function seconds(text: string): number {
  const value = decimal(text);
  if (!(value >= 0)) throw new Stop(exitCode.badInput, `"${text}" is not a number of seconds.`);
  return value;
}

function pointNumbers(text: string): readonly number[] {
  return text.split(',').map((part) => {
    if (!/^[1-9]\d*$/.test(part.trim())) throw new Stop(exitCode.badInput, `"${part}" is not the number of a point. Points are counted from 1, as every page and file does. Give numbers with commas between.`);
    return pointIndex(Number(part));
  });
}

type ChangeTarget = Extract<RunCommand, { readonly kind: 'change-target' }>;

/** `5`, or `9V=8`, of the map `map:5`; gathered over the words of the option. */
function targetsGiven(text: string, before: readonly ChangeTarget[] = []): readonly ChangeTarget[] {
  const found = /^(?<map>map:)?(?:(?<volts>[\d.]+)V=)?(?<us>[\d.]+)$/u.exec(text.trim())?.groups;
  const deadTimeUs = decimal(found?.['us'] ?? '');
  const voltageV = found?.['volts'] === undefined ? null : decimal(found['volts']);
  if (!(deadTimeUs > 0 && deadTimeUs <= 1000) || Number.isNaN(voltageV)) throw new Stop(exitCode.badInput, `"${text}" is no target: give microseconds above 0, up to 1000, as 5 for every voltage or 9V=8 for one; map:5 and map:9V=8 for the cells of its map.`);
  return [...before, { kind: 'change-target', voltageV, deadTimeUs, ...(found?.['map'] === undefined ? {} : { ofMap: true }) }];
}

/** The run, where its targets can be changed so; stops the command before a bench is looked for otherwise. */
function withTargets(archive: Archive, id: string, targets: readonly ChangeTarget[]): string {
  const loaded = loadRun(archive, id);
  if (targets.length === 0 || !loaded.ok) return id;
  const { plan } = loaded.state;
  if (plan.targets === undefined) throw new Stop(exitCode.badInput, 'The plan of this run states no targets: it is measured as often as it says. Continue it without --target.');
  for (const change of targets) {
    const of = changedPart({ targets: plan.targets, axes: plan.axes }, change);
    if (of === null) throw new Stop(exitCode.badInput, 'The plan of this run wants no map. Continue it without --target map:.');
    if (change.voltageV !== null && !of.voltages.includes(change.voltageV)) throw new Stop(exitCode.badInput, `${change.voltageV} V is none of the voltages of ${change.ofMap === true ? 'the map' : 'this run'}: ${of.voltages.join(', ')} V.`);
    if (of.asked.every((v) => wantedUs(of.part, v) === change.deadTimeUs)) throw new Stop(exitCode.badInput, `${change.deadTimeUs} us is what is wanted ${targetPlace(change)} already.`);
  }
  return id;
}

function withRunOptions(command: Command, ports: { readonly portByVariable: boolean } = { portByVariable: true }): Command {
  return withJsonOption(withHeadOptions(withBenchOptions(withEndByInput(command), ports)))
    .addOption(archiveOption())
    .addOption(new Option('--operator <name>', 'who measures and answers for this run; stored with it. Without it a terminal is asked').env(variables.operator))
    .addOption(
      new Option('--wait-for-bench <seconds>', 'how long to wait for a bench that went away before the run is left unfinished')
        .default(WAIT_FOR_BENCH_S)
        .argParser(seconds),
    )
    .addOption(new Option('--not-traceable', 'measure although a certificate has ended or the fluid is too old; every result of the run says so'))
    .addOption(new Option('--every-point', 'say each accepted point too'))
    .addOption(new Option('--quiet', 'say what went wrong or needs a person, and no progress').conflicts('everyPoint'));
}

/** For a command that goes on with a stored run: who measures, and an archive that is there; none is made. */
async function byWhom(options: RunOptions): Promise<readonly [RunOptions, string]> {
  const operator = await whoMeasures(options.operator);
  if (!existsSync(resolve(options.archive))) throw new Stop(exitCode.archive, `There is no archive at ${resolve(options.archive)}. Nothing was made. Name the one that holds the run with --archive.`);
  return [options, operator];
}

/** The run, when it has all of these points; stops the command before a bench is looked for otherwise. */
function withPoints(archive: Archive, id: string, points: readonly number[]): string {
  if (points.length === 0) return id;
  const loaded = loadRun(archive, id);
  const there = loaded.ok ? loaded.state.points.length : Number.POSITIVE_INFINITY;
  const beyond = points.find((index) => index >= there);
  if (beyond !== undefined) throw new Stop(exitCode.badInput, `Run ${id} has ${there} points, counted from 1; there is no point ${shownPoint(beyond)}. Nothing was measured.`);
  return id;
}

const failureCodes = { bench: exitCode.bench, archive: exitCode.archive, 'no-such-run': exitCode.badInput, 'bad-record': exitCode.archive, clock: exitCode.refused } as const;

/** What was chosen with --not-traceable, where there is something to choose (RUN-110). */
function untraceable({ notTraceable }: RunOptions, { preflight, untraceableAccepted }: RunState): readonly RunCommand[] {
  const stands = preflight.some((line) => line.result === 'refuse' && line.untraceable !== undefined);
  return notTraceable === true && stands && !untraceableAccepted ? [{ kind: 'accept-untraceable' }] : [];
}

/** Opens everything, drives the run to its rest, closes everything, and sets the exit code. */
async function carry(
  options: RunOptions,
  operator: string,
  which: (archive: Archive) => WhichRun,
  begin: (state: RunState) => readonly RunCommand[],
): Promise<void> {
  const place = commandBench(options);
  const { archive: archivePath, port, scenario, waitForBench } = options;
  // Everything that another bench, another pace or another name would come from (CLI-4).
  const where = [['--archive', archivePath], ['--port', port], ['--scenario', scenario], ['--speed', options.speed], ['--operator', operator], ['--wait-for-bench', waitForBench === WAIT_FOR_BENCH_S ? undefined : waitForBench]] as const;
  try {
    const archive = archivePlace(options.archive, 'write', place.clock, options);
    try {
      const connecting = new AbortController();
      const letGo = ending.hold({
        onAsked: ({ why }) => connecting.abort(new Error(why)),
        makeSafe: () => Promise.resolve({ kind: 'no-answer', text: 'The bench was being connected, and this program had not driven it yet. Look at it; when in doubt, press its emergency stop.' }),
      });
      const opened = await RunService.open(
        { archive, clock: place.clock, simulated: place.simulated, channels: place.channels, entropy: machineEntropy, freeDiskBytes: () => freeDiskBytes(options.archive) },
        which(archive),
        connecting.signal,
      ).finally(letGo);
      if (!opened.ok) throw new Stop(failureCodes[opened.code], opened.text);
      const { service, foundDriven } = opened;
      if (foundDriven !== null) tell(foundDriven);
      if (options.json === true) {
        printJson('run', { kind: 'run', id: service.id, archive: archive.path });
        printJson('sheet', sheetForPrograms(service.state.preflight));
      }
      const sheet = options.quiet === true ? service.state.preflight.filter(({ result }) => result !== 'pass') : service.state.preflight;
      tell(...(options.quiet === true ? [] : [`Run ${service.id} in ${archive.path}`]), ...sheetLines(sheet));
      // A sheet that nobody can read begins nothing.
      await ending.said();
      process.exitCode = await drive(service, (state) => [...untraceable(options, state), ...begin(state)], operator, {
        clock: place.clock,
        waitForBench: options.waitForBench,
        everyPoint: options.everyPoint === true,
        quiet: options.quiet === true,
        json: options.json === true,
        continueWith: commandLine('continue', service.id, ...where),
        remainingWith: commandLine('measure-again', service.id, '--remaining', ...where),
      });
      await service.close();
      if (service.state.ending !== null) {
        const stored = loadRun(archive, service.id);
        if (!stored.ok) throw new Stop(exitCode.archive, stored.text);
        if (options.json !== true) printTables(reduceState(stored.state), stored.state.notTraceable);
      }
    } finally {
      archive.close();
    }
  } finally {
    place.close();
  }
}

export function addRunCommands(program: Command): void {
  const sweep = async (planPath: string, options: RunOptions): Promise<void> => {
    const plan = planFile(planPath);
    const equipment = equipmentFor(options);
    const operator = await whoMeasures(options.operator);
    return carry(options, operator, () => ({ kind: 'new', plan, equipment, operator, software }), () => [{ kind: 'start' }]);
  };

  withRunOptions(program.command('sample').description('run the sample sweep on the simulated bench and print its dead-time table; without --operator it is measured by an invented one'), { portByVariable: false })
    .addOption(equipmentOption())
    .action((options: RunOptions) => sweep(samplePath('plan'), options.port === undefined ? { operator: demonstrator, ...options } : options));

  withRunOptions(program.command('sweep').description('run a plan: pre-flight sheet, proof of the watchdog, every point').argument('<plan>', 'plan file; - is standard input'))
    .addOption(equipmentOption())
    .action(sweep);

  withRunOptions(
    program
      .command('continue')
      .description('go on with a run that rests unfinished, from its first point without an accepted attempt')
      .argument('[run]', 'id or its beginning; without it the latest run'),
  )
    .option('--acknowledge', 'a person has found and removed the cause of the trip')
    .addOption(new Option('--target <us...>', 'of a plan with targets: U95 of the dead time wanted from now on, us: 5 at every voltage, or 9V=8 at one; map:5 or map:9V=8 in the cells of its map').argParser(targetsGiven))
    .action(async (run: string | undefined, options: RunOptions & { acknowledge?: boolean; target?: readonly ChangeTarget[] }) =>
      carry(...(await byWhom(options)), (archive) => ({ kind: 'stored', id: withTargets(archive, chosenRun(archive, run), options.target ?? []) }), (state) => {
        if (state.ending !== null) {
          const left = pointsWithoutResult(state).length;
          throw new Stop(exitCode.done, `This run has ended: ${endingWords(state.ending)}; there is nothing to continue. ${left === 0 ? 'Every point has a result, was left out or was decided upon.' : `Measure the ${left === 1 ? 'point that has' : `${left} points that have`} no result with measure-again --remaining.`}`);
        }
        const { target: targets = [] } = options;
        if (state.mode === 'ready') return [...targets, { kind: 'start' }];
        if (state.mode !== 'tripped') return [...targets, { kind: 'resume' }];
        if (options.acknowledge !== true) throw new Stop(exitCode.unfinished, 'The run has tripped. Find the cause, then continue it with --acknowledge.');
        return [...targets, { kind: 'acknowledge' }, { kind: 'resume' }];
      }),
    );

  withRunOptions(
    program
      .command('measure-again')
      .description('measure points of a run again; earlier attempts are kept, an accepted new one counts')
      .argument('[run]', 'id or its beginning; without it the latest run'),
  )
    .addOption(new Option('--remaining', 'every point that has no result: failed, cut short or never tried; after STOP, an abort or an early end').conflicts(['points', 'failed']))
    .addOption(new Option('--failed', 'the points that were tried without an accepted attempt').conflicts('points'))
    .addOption(new Option('--points <numbers>', 'these points, counted from 1 as every page, table and file does').argParser(pointNumbers))
    .action(async (run: string | undefined, options: RunOptions & { remaining?: boolean; failed?: boolean; points?: readonly number[] }) => {
      if (options.remaining !== true && options.failed !== true && options.points === undefined) throw new Stop(exitCode.badInput, 'Say which points: --remaining, --failed, or --points 3,17.');
      await carry(...(await byWhom(options)), (archive) => ({ kind: 'stored', id: withPoints(archive, chosenRun(archive, run), options.points ?? []) }), (state) => {
        const without = pointsWithoutResult(state);
        if (options.remaining === true) {
          if (without.length === 0) throw new Stop(exitCode.done, 'Every point has a result, was left out or was decided upon; there is nothing left to measure.');
          // A run that has not ended works its plan off by itself.
          return [state.ending !== null ? { kind: 'measure-remaining' } : state.mode === 'ready' ? { kind: 'start' } : { kind: 'resume' }];
        }
        const failed = without.filter((index) => (state.points.at(index)?.attempts.length ?? 0) > 0);
        const points = options.points ?? failed;
        if (points.length === 0) throw new Stop(exitCode.done, 'Every point that was tried has an accepted attempt; there is nothing to measure again.');
        return state.mode === 'paused' ? [{ kind: 'measure-again', points }, { kind: 'resume' }] : [{ kind: 'measure-again', points }];
      });
    });
}

