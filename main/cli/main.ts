/** The command line: a thin shell over run service, archive, reduction and exporters. */
import { Command, CommanderError } from 'commander';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { ArchiveUnreadable } from '../archive/read.ts';
import { addArchiveCommands } from './archive-commands.ts';
import { addBenchCommands } from './bench-commands.ts';
import { exitCode } from './exit-codes.ts';
import { addMeterCheckCommands } from './meter-check-commands.ts';
import { addMetrologyCommands } from './metrology-commands.ts';
import { addPlanCommands } from './plan-commands.ts';
import { addProofCommands } from './proof-commands.ts';
import { addResultCommands } from './result-commands.ts';
import { addRunCommands } from './run-commands.ts';
import { Stop } from './stop.ts';
import { addWindowCommands } from './window-commands.ts';

ending.watch(machineClock, { defect: exitCode.defect, bench: exitCode.bench, output: exitCode.archive });

const program = new Command('railhouse')
  .description(
    'Runs an injector calibration bench, keeps every attempt, and reduces it to tables.\n' +
      'PC software is not a safety function: read the cautions in README.md before anything real is connected.',
  )
  .addHelpText(
    'after',
    '\nExit codes: 0 done; 1 defect of this program; 2 bad command line or file; 3 start refused, nothing energised;\n' +
      '4 ended with points that have no accepted attempt; 5 resting unfinished, can be continued; 6 bench not reached or lost;\n' +
      '7 archive busy, newer, damaged or disk full; 8 a check found something wrong.',
  )
  .showHelpAfterError('(add --help for the options)')
  .exitOverride();

addRunCommands(program);
addResultCommands(program);
addMetrologyCommands(program);
addMeterCheckCommands(program);
addArchiveCommands(program);
addProofCommands(program);
addPlanCommands(program);
addBenchCommands(program);
addWindowCommands(program);

try {
  await program.parseAsync();
} catch (error) {
  if (error instanceof CommanderError) {
    process.exitCode = error.exitCode === 0 ? exitCode.done : exitCode.badInput;
  } else if (error instanceof ArchiveUnreadable) {
    process.stderr.write(`${error.message}\n`);
    process.exitCode = exitCode.archive;
  } else if (error instanceof Stop) {
    process.stderr.write(`${error.message}\n`);
    process.exitCode = error.exitCode;
  } else {
    process.stderr.write(`This is a defect of the program; the archive holds everything that was committed.\n${(error as Error).stack ?? String(error)}\n`);
    process.exitCode = exitCode.defect;
  }
}
await ending.over();
