/** `--end-with-input`: the end of standard input is the request to end (CLI-30). */
import { Option, type Command } from 'commander';
import { ending } from '../ending/ending.ts';
import { exitCode } from './exit-codes.ts';
import { Stop } from './stop.ts';

const NAME = 'endWithInput';

/** Adds it to a command that has a bench in hand or goes on until it is ended. */
export const withEndByInput = (command: Command): Command =>
  command.addOption(new Option('--end-with-input', 'end in order, as by Ctrl-C, when standard input ends: for the program that started this one, on systems without signals (Windows) too'));

/** Before a command is carried out that was given the option. */
export function obeyInput(command: Command): void {
  if (command.getOptionValue(NAME) !== true) return;
  if (command.args.includes('-')) throw new Stop(exitCode.badInput, 'Standard input cannot be a file (-) and the sign to end (--end-with-input) at once. Name the file. Nothing was done.');
  ending.endWithInput();
}
