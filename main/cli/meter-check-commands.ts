/** Commands for the catch-and-weigh check of the flow meter. */
import { writeFileSync } from 'node:fs';
import { resolve } from 'node:path';
import { Option, type Command } from 'commander';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { signed } from '../../app/meter-check/compare.ts';
import { meterHistory, type HistoryEntry, type MeterHistory } from '../../app/meter-check/in-force.ts';
import { judgeCheck, type JudgedCheck } from '../../app/meter-check/judge.ts';
import type { Archive } from '../archive/archive.ts';
import { isoMinute, today } from '../clock/dating.ts';
import { machineClock } from '../clock/machine.ts';
import { samplePath } from '../samples/samples.ts';
import { equipmentFile, meterCheckFile } from './documents.ts';
import { commandLine } from './command-line.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { stateOf } from './result-commands.ts';
import { jsonText, say, sayJson } from './say.ts';
import { Stop } from './stop.ts';

/** What to do about a check that cannot be kept. */
const remedies: Readonly<Record<Extract<JudgedCheck, { ok: false }>['reason'], string>> = {
  judged: '',
  'other-meter': ' Give the record of that meter with --equipment.',
  'kept-already': ' Give a check that puts it right a number of its own.',
  'not-evaluated': '',
};

interface Options {
  readonly archive: string;
  readonly equipment?: string;
  readonly date: string;
  readonly json?: true;
}

const equipmentOption = (): Option =>
  new Option('--equipment <file>', 'the equipment record that checks are compared with; without it the one saved in the archive, or that of the simulated bench');

const dateOption = (): Option =>
  new Option('--date <date>', 'as it stood on this day, like 2026-03-31')
    .default(today(machineClock), 'today in UTC')
    .argParser((text) => {
      const at = Date.parse(`${text}T00:00:00Z`);
      if (!/^\d{4}-\d{2}-\d{2}$/.test(text) || Number.isNaN(at) || new Date(at).toISOString().slice(0, 10) !== text) throw new Stop(exitCode.badInput, `--date ${text}: write a day like 2026-03-31.`);
      return text;
    });

function recordOf(archive: Archive, file: string | undefined): Equipment {
  if (file !== undefined) return equipmentFile(file);
  const saved = archive.library.equipment();
  if (saved === null) return equipmentFile(samplePath('equipment'));
  const parsed = parseEquipment(saved);
  if (!parsed.ok) throw new Stop(exitCode.archive, `The equipment record saved in ${archive.path} cannot be read by this program. Give one with --equipment.`);
  return parsed.equipment;
}

// eslint-disable-next-line max-lines-per-function -- commands and their options, one after the other
export function addMeterCheckCommands(program: Command): void {
  const group = program.command('meter-check').description('catch-and-weigh checks of the flow meter, and which calibration of it is in force');

  withJsonOption(group.command('add'))
    .description('work out a check and keep it for good')
    .argument('<file>', 'the check, as app/meter-check/README.md describes it')
    .addOption(equipmentOption())
    .addOption(archiveOption())
    .action((file: string, options: Omit<Options, 'date'>) => {
      const check = meterCheckFile(file);
      const archive = archivePlace(options.archive, 'write');
      try {
        const judged = judgeCheck(archive.meterChecks.list(), recordOf(archive, options.equipment), check);
        if (!judged.ok) throw new Stop(exitCode.badInput, `${judged.text} Nothing was kept.${remedies[judged.reason]}`);
        const { entry, history } = judged;
        const { evaluated, comparison: { verdict } } = entry.outcome;
        const added = archive.meterChecks.add(judged.check);
        if (!added.ok) throw new Stop(exitCode.archive, added.text);
        printEntry(entry, options.json === true);
        if (entry.effect === 'suspended') printDoubtful(archive, history, check.meterSerialNumber, options.json === true);
        if (options.json !== true) say(...evaluated.cautions.map((caution) => `Caution: ${caution}`));
        if (entry.effect === 'suspended' || verdict === 'not-repeatable' || verdict === 'not-one-rate') process.exitCode = exitCode.checkFailed;
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('list'))
    .description('the checks of the meter in the order of their dates, and what each did')
    .addOption(equipmentOption())
    .addOption(dateOption())
    .addOption(archiveOption())
    .action((options: Options) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const history = meterHistory(archive.meterChecks.list(), recordOf(archive, options.equipment), options.date);
        const { entries, inForce } = history;
        const json = options.json === true;
        for (const entry of entries) printEntry(entry, json);
        if (inForce.kind === 'none' && inForce.reason === 'suspended') printDoubtful(archive, history, history.record.meter.serialNumber, json);
        const text = inForce.kind === 'in-force' ? `In force on ${options.date}: check ${inForce.no} (${inForce.check.certificate.number}), until ${inForce.check.certificate.validUntil}.` : inForce.text;
        if (!json) say(text);
        else {
          const standing = inForce.kind === 'in-force' ? { check: inForce.no, certificate: inForce.check.certificate.number, validUntil: inForce.check.certificate.validUntil } : { check: null, certificate: null, validUntil: null };
          printJson('meter-check', { kind: 'standing', date: options.date, ...standing, text });
        }
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('in-force'))
    .description('print the equipment record with the meter calibration in force, for runs to refer to')
    .addOption(equipmentOption())
    .addOption(dateOption())
    .addOption(new Option('--to <file>', 'write the record to this file instead'))
    .addOption(archiveOption())
    .action((options: Options & { to?: string }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const { inForce } = meterHistory(archive.meterChecks.list(), recordOf(archive, options.equipment), options.date);
        if (inForce.kind === 'none') throw new Stop(exitCode.checkFailed, inForce.text);
        const { certificate } = inForce.check;
        const told = (to: string | null): void => printJson('meter-check in-force', { check: inForce.no, certificate: certificate.number, validUntil: certificate.validUntil, to, equipment: { ...inForce.equipment } });
        if (options.to === undefined) {
          if (options.json === true) told(null);
          else sayJson(inForce.equipment, 2);
          return;
        }
        const path = resolve(options.to);
        try {
          writeFileSync(path, `${jsonText(inForce.equipment, 2)}\n`);
        } catch (error) {
          throw new Stop(exitCode.badInput, `The equipment record ${path} cannot be written (${(error as Error).message}). Choose another place.`);
        }
        if (options.json === true) told(path);
        else say(`${path}: meter ${inForce.equipment.meter.serialNumber} by check ${inForce.no} (${certificate.number}), in force until ${certificate.validUntil}. Measure with it: ${commandLine('sweep', 'PLAN', ['--equipment', path])}`);
      } finally {
        archive.close();
      }
    });
}

/** MC-19: what was measured since the meter was last known to be good, and may have to be measured again. */
function printDoubtful(archive: Archive, { lastGood, record }: MeterHistory, meter: string, json: boolean): void {
  const since = lastGood ?? record.meter.certificate.date;
  const doubtful: { run: string; day: string }[] = [];
  for (const { id, createdAt } of archive.everyRun()) {
    const day = isoMinute(createdAt).slice(0, 10);
    if (day < since) break;
    if (stateOf(archive, id, { silent: json }).equipment.meter.serialNumber === meter) doubtful.push({ run: id, day });
  }
  if (json) {
    printJson('meter-check', { kind: 'doubtful', meter, since, runs: doubtful });
    return;
  }
  say(doubtful.length === 0 ? `No run was measured with meter ${meter} since ${since}, when it was last known to be good.` : `Measured with meter ${meter} since ${since}, when it was last known to be good, and in doubt:`);
  say(...doubtful.map(({ run, day }) => `  ${day}  ${run}`));
}

function printEntry({ no, check, outcome, effect, effectText }: HistoryEntry, json: boolean): void {
  if (json) {
    const { evaluated } = outcome;
    printJson('meter-check', {
      kind: 'check', no, date: check.certificate.date, certificate: check.certificate.number, purpose: check.purpose, operator: check.operator, effect,
      verdict: evaluated === null ? null : outcome.comparison.verdict,
      text: evaluated === null ? outcome.text : `${outcome.comparison.text} ${effectText}`,
      rates: evaluated === null ? [] : evaluated.rates.map(({ hertz, kFactor, runs }, i) => {
        const { percent = 0, expandedPercent = 0, fromCertificatePercent = 0 } = outcome.comparison.deviations[i] ?? {};
        return { hertz, edgesPerLitre: kFactor.value / 1e3, expanded: kFactor.expanded / 1e3, runs: runs.length, percent, expandedPercent, fromCertificatePercent };
      }),
      repeatability: evaluated?.repeatability ?? null,
      cautions: [...(evaluated?.cautions ?? [])],
    });
    return;
  }
  say(`Check ${no}  ${check.certificate.date}  ${check.certificate.number}  ${check.purpose} by ${check.operator}`);
  if (outcome.evaluated === null) {
    say(`  ${outcome.text}`);
    return;
  }
  const { evaluated, comparison } = outcome;
  evaluated.rates.forEach(({ hertz, kFactor, runs }, i) => {
    const { percent = 0, expandedPercent = 0, fromCertificatePercent = 0 } = comparison.deviations[i] ?? {};
    say(`  ${hertz.toFixed(2).padStart(8)} Hz  K ${(kFactor.value / 1e3).toFixed(1)} ± ${(kFactor.expanded / 1e3).toFixed(1)} edges/L  (${runs.length} runs)  ${signed(percent)} ± ${expandedPercent.toFixed(3)} % from the one in use, ${signed(fromCertificatePercent)} % from the certificate`);
  });
  if (evaluated.repeatability !== null) say(`  Repeatability ${(100 * evaluated.repeatability.sd).toFixed(3)} % with ${evaluated.repeatability.dof} degrees of freedom.`);
  say(`  ${comparison.text} ${effectText}`);
}
