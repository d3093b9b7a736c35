/** The command line as a process: what was typed is carried out, and every failure becomes a sentence and an exit code. */
import { CommanderError } from 'commander';
import { ArchiveUnreadable } from '../archive/read.ts';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { exitCode } from './exit-codes.ts';
import { makeProgram } from './program.ts';
import { tell } from './say.ts';
import { Stop } from './stop.ts';
import { readConfiguration } from './surroundings.ts';

ending.watch(machineClock, { defect: exitCode.defect, bench: exitCode.bench, output: exitCode.archive });

try {
  readConfiguration();
  await makeProgram().parseAsync();
} catch (error) {
  if (error instanceof CommanderError) {
    process.exitCode = error.exitCode === 0 ? exitCode.done : exitCode.badInput;
  } else if (error instanceof ArchiveUnreadable) {
    tell(error.message);
    process.exitCode = exitCode.archive;
  } else if (error instanceof Stop) {
    tell(...error.lines);
    process.exitCode = error.exitCode;
  } else {
    tell('This is a defect of the program; the archive holds everything that was committed.', ...((error as Error).stack ?? String(error)).split('\n'));
    process.exitCode = exitCode.defect;
  }
}
await ending.over();
