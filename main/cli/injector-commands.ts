/** Commands for the injectors that are booked in. CLI-70, CLI-71 */
import { Option, type Command } from 'commander';
import { plain } from '../../app/quantities/figures.ts';
import type { Archive } from '../archive/archive.ts';
import type { StoredPart } from '../archive/library.ts';
import { takeBackWithdrawal, withdraw, withdrawals, type Withdrawal } from '../archive/withdrawals.ts';
import { isoTime } from '../clock/dating.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { say } from './say.ts';
import { Stop } from './stop.ts';
import { variables } from './surroundings.ts';
import { whoMeasures } from './who-measures.ts';

interface Common {
  readonly archive: string;
  readonly json?: true;
}

interface Chosen extends Common {
  readonly type?: string;
  readonly operator?: string;
}

const typeOption = () => new Option('--type <type>', 'of the injector, where two types have this serial number');
const operatorOption = () => new Option('--operator <name>', 'who does it; kept with it. Without it a terminal is asked').env(variables.operator);

export function addInjectorCommands(program: Command): void {
  const group = program.command('injector').description('injectors that are booked in, and those that were withdrawn');

  withJsonOption(group.command('list'))
    .description('the injectors that are booked in')
    .addOption(new Option('--withdrawn', 'those that were withdrawn, the latest first: who, when and why'))
    .addOption(archiveOption())
    .action((options: Common & { withdrawn?: true }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const listed: readonly (readonly [StoredPart, Withdrawal | null])[] = options.withdrawn === true ? withdrawals(archive).map((one) => [one.part, one] as const) : archive.library.parts().map((part) => [part, null] as const);
        if (listed.length === 0 && options.json !== true) say(options.withdrawn === true ? 'No injector is withdrawn.' : 'No injector is booked in.');
        for (const [part, withdrawn] of listed) tell(part, withdrawn, options.json === true);
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('withdraw'))
    .description('take an injector that was booked in by mistake out of the lists; what was saved of it stays in the archive. One that a run has used cannot be withdrawn')
    .argument('<serial>', 'serial number')
    .addOption(new Option('--reason <text>', 'why; kept with it').makeOptionMandatory())
    .addOption(typeOption())
    .addOption(operatorOption())
    .addOption(archiveOption())
    .action(async (serial: string, options: Chosen & { reason: string }) => {
      const by = await whoMeasures(options.operator);
      change(options, (archive) => {
        const part = theOne(archive.library.parts(), serial, options.type, 'is booked in', '`injector list` names those that are');
        const done = withdraw(archive, part.id, by, options.reason.trim());
        if (!done.ok) throw new Stop(done.code === 'refused' ? exitCode.badInput : exitCode.archive, done.text);
        const withdrawn = withdrawals(archive).find((one) => one.part.id === part.id) ?? null;
        tell(part, withdrawn, options.json === true);
      });
    });

  withJsonOption(group.command('take-back'))
    .description('take a withdrawal back: the injector is booked in as it was')
    .argument('<serial>', 'serial number')
    .addOption(typeOption())
    .addOption(operatorOption())
    .addOption(archiveOption())
    .action(async (serial: string, options: Chosen) => {
      const by = await whoMeasures(options.operator);
      change(options, (archive) => {
        const part = theOne(archive.library.withdrawnParts(), serial, options.type, 'is withdrawn', '`injector list --withdrawn` names those that are');
        const done = takeBackWithdrawal(archive, part.id, by);
        if (!done.ok) throw new Stop(done.code === 'refused' ? exitCode.badInput : exitCode.archive, done.text);
        tell(done.value, null, options.json === true);
      });
    });
}

function change(options: Common, work: (archive: Archive) => void): void {
  const archive = archivePlace(options.archive, 'write');
  try {
    work(archive);
  } finally {
    archive.close();
  }
}

function theOne(parts: readonly StoredPart[], serial: string, type: string | undefined, state: string, where: string): StoredPart {
  const found = parts.filter((part) => part.serialNumber === serial && (type === undefined || part.type === type));
  const [one] = found;
  if (one === undefined) throw new Stop(exitCode.badInput, `No injector${type === undefined ? '' : ` of type ${type}`} with the serial number ${serial} ${state}. ${where}. Nothing was changed.`);
  if (found.length > 1) throw new Stop(exitCode.badInput, `Injectors of ${found.length} types have the serial number ${serial}: ${found.map((part) => part.type).join(', ')}. Say which with --type. Nothing was changed.`);
  return one;
}

function tell(part: StoredPart, withdrawn: Withdrawal | null, json: boolean): void {
  const { type, serialNumber, order, channel, coilResistanceOhm, condition } = part;
  if (json) {
    printJson('injector', { type, serialNumber, order, channel, coilResistanceOhm, condition, withdrawn: withdrawn === null ? null : { at: isoTime(withdrawn.at), by: withdrawn.by, reason: withdrawn.reason } });
    return;
  }
  const about = [order === '' ? '' : `job ${order}`, channel === null ? 'not mounted' : `channel ${channel}`, coilResistanceOhm === null ? '' : `coil ${plain(coilResistanceOhm)} ohm`, condition].filter((one) => one !== '');
  say(`${type} ${serialNumber}  ${withdrawn === null ? about.join(', ') : `withdrawn ${isoTime(withdrawn.at)} by ${withdrawn.by}: ${withdrawn.reason}`}`);
}
