/** The command line as a process: what was typed is carried out, and every failure becomes a sentence and an exit code. */
import { CommanderError } from 'commander';
import { ArchiveUnreadable } from '../archive/read.ts';
import { machineClock } from '../clock/machine.ts';
import { ending } from '../ending/ending.ts';
import { exitCode } from './exit-codes.ts';
import { makeProgram } from './program.ts';
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
