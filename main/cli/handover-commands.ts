/** Tables that a customer's controller loads (TAB-12). */
import { resolve } from 'node:path';
import { InvalidArgumentError, Option, type Command } from 'commander';
import { layoutJsonSchema, plainLayout } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { machineClock } from '../clock/machine.ts';
import { patientDisk } from '../export/files.ts';
import { handOver, handoverFormats, type HandoverFormat } from '../handover/hand-over.ts';
import { software } from '../service/software.ts';
import { chosenRun } from './chosen-run.ts';
import { layoutFile, partiesFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption } from './places.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say, sayJson, tell } from './say.ts';
import { Stop } from './stop.ts';

function formats(text: string): readonly HandoverFormat[] {
  const asked = text.split(',').map((name) => name.trim());
  if (asked.includes('all')) return handoverFormats;
  return [...new Set(asked)].map((name) => {
    const known = handoverFormats.find((format) => format === name);
    if (known === undefined) throw new InvalidArgumentError(`Formats are ${handoverFormats.join(', ')} and all.`);
    return known;
  });
}

export function addHandoverCommands(program: Command): void {
  withJsonOption(program.command('tables'))
    .description('write dead time, flow and short-pulse correction as tables that an engine controller loads')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--as <format,...>', `${handoverFormats.join(', ')}, or all`).argParser(formats).default(handoverFormats, 'all'))
    .addOption(new Option('--to <folder>', 'folder for the files; it is made if it is not there').default('controller-tables'))
    .addOption(new Option('--layout <file>', 'breakpoints, units, steps and wiring drop of the controller (schema: layout-schema); - is standard input. Without it the places that were measured'))
    .addOption(new Option('--parties <file>', 'laboratory, responsible person and customer, whom a digital calibration certificate (dcc) names'))
    .addOption(new Option('--monte-carlo', 'in tables.json a Monte Carlo (JCGM 101) beside each number; some hundredths of a second for each'))
    .action((run: string | undefined, options: { archive: string; as: readonly HandoverFormat[]; to: string; layout?: string; parties?: string; monteCarlo?: true; json?: true }) => {
      const layout: ControllerLayout = options.layout === undefined ? plainLayout : layoutFile(options.layout);
      const parties = options.parties === undefined ? null : partiesFile(options.parties);
      return withArchive(options.archive, async (archive) => {
        const runId = chosenRun(archive, run);
        const folder = resolve(options.to);
        const written = await handOver(folder, { archive, runId, state: stateOf(archive, runId, { silent: options.json === true }), software, layout, formats: options.as, parties, monteCarlo: options.monteCarlo === true }, patientDisk(machineClock));
        if (written.kind !== 'written') throw new Stop(exitCode.badInput, written.text);
        tell(...written.said);
        if (options.json === true) printJson('tables', { run: runId, folder, files: [...written.files] });
        else say(...written.files);
        if (written.note !== null) tell(written.note);
      });
    });

  program
    .command('layout-schema')
    .description('print the JSON Schema of a layout of controller tables')
    .action(() => sayJson(layoutJsonSchema(), 2));
}
