/** Every command, put together: a thin shell over run service, archive, reduction and exporters. */
import { Command } from 'commander';
import { software } from '../service/software.ts';
import { addArchiveCommands } from './archive-commands.ts';
import { addBenchCommands } from './bench-commands.ts';
import { addCompletionCommand } from './completion.ts';
import { addHandoverCommands } from './handover-commands.ts';
import { laidOut } from './help.ts';
import { addMeterCheckCommands } from './meter-check-commands.ts';
import { addQualificationCommands } from './qualification-commands.ts';
import { addMetrologyCommands } from './metrology-commands.ts';
import { addForecastCommand } from './forecast-command.ts';
import { addKnownTypeCommand } from './known-type-command.ts';
import { addSettlingCommand } from './settling-command.ts';
import { addStabilityCommand } from './stability-command.ts';
import { addPlanCommands } from './plan-commands.ts';
import { addProofCommands } from './proof-commands.ts';
import { addReplayCommand } from './replay-command.ts';
import { addInjectorCommands } from './injector-commands.ts';
import { addRecordCommands } from './record-commands.ts';
import { addReportCommands } from './report-commands.ts';
import { addResultCommands } from './result-commands.ts';
import { addRunCommands } from './run-commands.ts';
import { addComparisonCommands } from './comparison-commands.ts';
import { addCertificateCommands } from './certificate-commands.ts';
import { addUncertaintyCommands } from './uncertainty-commands.ts';
import { addWindowCommands } from './window-commands.ts';
import { obeyInput } from './end-with-input.ts';
import { addSchemaCommands } from './schema-commands.ts';
import { refuseEmptyValues } from './values.ts';

/** A program that throws what it was refused, and ends no process. */
export function makeProgram(): Command {
  const program = laidOut(new Command('railhouse'))
    .description(
      'Runs an injector calibration bench, keeps every attempt, and reduces it to tables.\n' +
        'PC software is not a safety function: read the cautions in README.md before anything real is connected.',
    )
    .version(software, '-V, --version', 'print name and version')
    .showHelpAfterError('(add --help for the options)')
    .exitOverride()
    .hook('preAction', (_, command) => {
      refuseEmptyValues(command);
      obeyInput(command);
    });

  addRunCommands(program);
  addResultCommands(program);
  addHandoverCommands(program);
  addReportCommands(program);
  addMetrologyCommands(program);
  addStabilityCommand(program);
  addSettlingCommand(program);
  addUncertaintyCommands(program);
  addCertificateCommands(program);
  addComparisonCommands(program);
  addMeterCheckCommands(program);
  addQualificationCommands(program);
  addRecordCommands(program);
  addInjectorCommands(program);
  addArchiveCommands(program);
  addProofCommands(program);
  addPlanCommands(program);
  addForecastCommand(program);
  addKnownTypeCommand(program);
  addBenchCommands(program);
  addReplayCommand(program);
  addWindowCommands(program);
  addSchemaCommands(program);
  addCompletionCommand(program);
  return program;
}
