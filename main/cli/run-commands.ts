import { Option, type Command } from 'commander';
import { pointIndex } from '../../app/plan/points.ts';
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
import { equipmentFor, planFile } from './documents.ts';
import { drive } from './drive.ts';
import { exitCode } from './exit-codes.ts';
import { archiveOption, archivePlace, benchPlace, equipmentOption, freeDiskBytes, withBenchOptions, withHeadOptions, type BenchOptions, type HeadOptions } from './places.ts';
import { sheetText } from './plan-commands.ts';
import { printTables } from './result-commands.ts';
import { Stop } from './stop.ts';
import { demonstrator, whoMeasures } from './who-measures.ts';

interface RunOptions extends BenchOptions, HeadOptions {
  readonly archive: string;
  readonly operator?: string;
  readonly equipment?: string;
  readonly notTraceable?: boolean;
  readonly waitForBench: number;
  readonly everyPoint?: boolean;
}

function seconds(text: string): number {
  const value = Number(text);
  if (!(value >= 0)) throw new Stop(exitCode.badInput, `"${text}" is not a number of seconds.`);
  return value;
}

function pointNumbers(text: string): readonly number[] {
  return text.split(',').map((part) => {
    if (!/^[1-9]\d*$/.test(part.trim())) throw new Stop(exitCode.badInput, `"${part}" is not the number of a point. Points are counted from 1, as every page and file does. Give numbers with commas between.`);
    return pointIndex(Number(part));
  });
}

function withRunOptions(command: Command): Command {
  return withHeadOptions(withBenchOptions(command))
    .addOption(archiveOption())
    .addOption(new Option('--operator <name>', 'who measures and answers for this run; stored with it. Without it a terminal is asked'))
    .addOption(
      new Option('--wait-for-bench <seconds>', 'how long to wait for a bench that went away before the run is left unfinished')
        .default(60)
        .argParser(seconds),
    )
    .addOption(new Option('--not-traceable', 'measure although a certificate has ended or the fluid is too old; every result of the run says so'))
    .addOption(new Option('--every-point', 'say each accepted point too'));
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
  const place = benchPlace(options);
  const where = `--archive ${options.archive}${options.port === undefined ? '' : ` --port ${options.port}`}`;
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
      if (foundDriven !== null) process.stderr.write(`${foundDriven}\n`);
      process.stderr.write(`Run ${service.id} in ${archive.path}\n${sheetText(service.state.preflight)}\n`);
      // A sheet that nobody can read begins nothing.
      await ending.said();
      process.exitCode = await drive(service, (state) => [...untraceable(options, state), ...begin(state)], operator, {
        clock: place.clock,
        waitForBench: options.waitForBench,
        everyPoint: options.everyPoint === true,
        continueWith: `npm run cli -- continue ${service.id} ${where}`,
        remainingWith: `npm run cli -- measure-again ${service.id} --remaining ${where}`,
      });
      await service.close();
      if (service.state.ending !== null) {
        const stored = loadRun(archive, service.id);
        if (!stored.ok) throw new Stop(exitCode.archive, stored.text);
        printTables(reduceState(stored.state), stored.state.notTraceable);
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

  withRunOptions(program.command('sample').description('run the sample sweep on the simulated bench and print its dead-time table; without --operator it is measured by an invented one'))
    .addOption(equipmentOption())
    .action((options: RunOptions) => sweep(samplePath('plan'), options.port === undefined ? { operator: demonstrator, ...options } : options));

  withRunOptions(program.command('sweep').description('run a plan: pre-flight sheet, proof of the dead-man, every point').argument('<plan>', 'plan file'))
    .addOption(equipmentOption())
    .action(sweep);

  withRunOptions(
    program
      .command('continue')
      .description('go on with a run that rests unfinished, from its first point without an accepted attempt')
      .argument('[run]', 'id or its beginning; without it the latest run'),
  )
    .option('--acknowledge', 'a person has found and removed the cause of the trip')
    .action(async (run: string | undefined, options: RunOptions & { acknowledge?: boolean }) =>
      carry(options, await whoMeasures(options.operator), (archive) => ({ kind: 'stored', id: chosenRun(archive, run) }), (state) => {
        if (state.ending !== null) {
          const left = pointsWithoutResult(state).length;
          throw new Stop(exitCode.done, `This run has ended: ${endingWords(state.ending)}; there is nothing to continue. ${left === 0 ? 'Every point has a result, was left out or was decided upon.' : `Measure the ${left === 1 ? 'point that has' : `${left} points that have`} no result with measure-again --remaining.`}`);
        }
        if (state.mode === 'ready') return [{ kind: 'start' }];
        if (state.mode !== 'tripped') return [{ kind: 'resume' }];
        if (options.acknowledge !== true) throw new Stop(exitCode.unfinished, 'The run has tripped. Find the cause, then continue it with --acknowledge.');
        return [{ kind: 'acknowledge' }, { kind: 'resume' }];
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
    .action(async (run: string | undefined, options: RunOptions & { remaining?: boolean; failed?: boolean; points?: readonly number[] }) =>
      carry(options, await whoMeasures(options.operator), (archive) => ({ kind: 'stored', id: chosenRun(archive, run) }), (state) => {
        const without = pointsWithoutResult(state);
        if (options.remaining === true) {
          if (without.length === 0) throw new Stop(exitCode.done, 'Every point has a result, was left out or was decided upon; there is nothing left to measure.');
          // A run that has not ended works its plan off by itself.
          return [state.ending !== null ? { kind: 'measure-remaining' } : state.mode === 'ready' ? { kind: 'start' } : { kind: 'resume' }];
        }
        const failed = without.filter((index) => (state.points.at(index)?.attempts.length ?? 0) > 0);
        if (options.failed !== true && options.points === undefined) throw new Stop(exitCode.badInput, 'Say which points: --remaining, --failed, or --points 3,17.');
        const points = options.points ?? failed;
        if (points.length === 0) throw new Stop(exitCode.done, 'Every point that was tried has an accepted attempt; there is nothing to measure again.');
        return state.mode === 'paused' ? [{ kind: 'measure-again', points }, { kind: 'resume' }] : [{ kind: 'measure-again', points }];
      }),
    );
}

