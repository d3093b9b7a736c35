/** What earlier runs tell of a type of injector, for the plan of the next (PLAN-98). */
import { InvalidArgumentError, Option, type Command } from 'commander';
import { knownInArchive } from '../export/earlier-runs.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption } from './places.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say } from './say.ts';
import { Stop } from './stop.ts';
import { decimal } from './values.ts';

function kilopascalsGiven(text: string): number {
  const value = decimal(text);
  if (!(value > 0)) throw new InvalidArgumentError('It must be a number above 0, in kPa.');
  return value;
}

export function addKnownTypeCommand(program: Command): void {
  withJsonOption(program.command('known-type'))
    .description('where lines of a type of injector begin, by its latest runs: what a plan with targets may begin from (targets.known)')
    .argument('<type>', 'injector type, as plans name it')
    .addOption(new Option('--pressure <kPa>', 'rail pressure').argParser(kilopascalsGiven).default(400))
    .addOption(archiveOption())
    .action((type: string, { archive: path, pressure, json }: { archive: string; pressure: number; json?: true }) =>
      withArchive(path, (archive) => {
        const known = knownInArchive(archive, (id) => stateOf(archive, id, { silent: true }), type, pressure);
        if (known === null) throw new Stop(exitCode.badInput, `No run in ${archive.path} tells where lines of ${type} begin at ${pressure} kPa: none has such injectors there, or none went down to where they bend.`);
        if (json === true) {
          printJson('known-type', known);
          return;
        }
        say(
          `${type} at ${pressure} kPa, from ${known.from}:`,
          `  lines are straight from ${known.linearFromOpenMs} ms of open time (pulse width less dead time)`,
          `  dead time: ${known.deadTimes.map((d) => `${d.deadTimeMs} ms at ${d.voltageV} V`).join(', ')}`,
          `  windows scatter by ${known.scatterPercent} % and ${known.scatterUs} us`,
          'For a plan: add --json, and put the line into the list targets.known. No number of a result is made from it.',
        );
      }),
    );
}
