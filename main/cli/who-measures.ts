/** Who answers for a run is asked and never guessed: a login name is no signature (RUN-113). */
import { createInterface } from 'node:readline/promises';
import { oneLinePattern } from '../../app/boundary/text.ts';
import { exitCode } from './exit-codes.ts';
import { Stop } from './stop.ts';

/** Who measures in the demonstration on the simulated bench. */
export const demonstrator = 'Demonstration (nobody measured)';

const longest = 120;

/** The name that was given, or that a person at this terminal gives now. */
export async function whoMeasures(given: string | undefined): Promise<string> {
  const name = (given ?? (process.stdin.isTTY && process.stderr.isTTY ? await asked() : '')).trim();
  if (name === '') throw new Stop(exitCode.badInput, 'Say who measures and answers for this run: --operator NAME. It is stored with the run. Nothing was done.');
  if (!oneLinePattern.test(name)) throw new Stop(exitCode.badInput, 'The name of the operator must be of one line, without control characters. Nothing was done.');
  if (name.length > longest) throw new Stop(exitCode.badInput, `The name of the operator may have ${longest} characters at most.`);
  return name;
}

async function asked(): Promise<string> {
  const terminal = createInterface({ input: process.stdin, output: process.stderr });
  // The end of input and Ctrl-C are no name.
  const closed = new Promise<string>((resolve) => {
    terminal.once('close', () => resolve(''));
  });
  try {
    return await Promise.race([terminal.question('Who measures and answers for this run? '), closed]);
  } finally {
    terminal.close();
  }
}
