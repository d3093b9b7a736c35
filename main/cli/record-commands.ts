/** Commands for what the lab keeps beside its runs: records of types of injectors, and of visits of injectors. CLI-51 to CLI-54 */
import { readFileSync } from 'node:fs';
import { basename } from 'node:path';
import { Option, type Command } from 'commander';
import { figure, plain, plusMinus } from '../../app/quantities/figures.ts';
import type { TypeRecord } from '../../app/type-record/type-record.ts';
import { mostPhotos, readPhoto } from '../../app/visit/photo.ts';
import { coilAt20, correctedBy, visitStages } from '../../app/visit/visit.ts';
import type { StoredRecord } from '../archive/records.ts';
import type { PhotoToKeep, StoredVisit } from '../archive/visits.ts';
import { isoTime, latestDay } from '../clock/dating.ts';
import { machineClock } from '../clock/machine.ts';
import { typeRecordFile, visitFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { say, sayJson } from './say.ts';
import { Stop } from './stop.ts';
import { variables } from './surroundings.ts';
import { wholeNumber } from './values.ts';
import { whoMeasures } from './who-measures.ts';

/** The latest entries that a list looks through. */
const MOST_VISITS = 5000;
const MOST_VERSIONS = 100;

interface Common {
  readonly archive: string;
  readonly json?: true;
}

export function addRecordCommands(program: Command): void {
  addTypeRecords(program.command('type-record').description('what the lab knows of its types of injectors: flow, coil, limits, drive, and the plan that new sweeps begin with'));
  addVisits(program.command('visit').description('what was found of injectors on their visits: as found, cleaned, as left'));
}

const kind = 'injector type';

function addTypeRecords(group: Command): void {
  withJsonOption(group.command('list'))
    .description('the record of each type as it is now')
    .addOption(new Option('--versions <type>', 'every version of this type, the latest first'))
    .addOption(archiveOption())
    .action((options: Common & { versions?: string }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const stored = options.versions === undefined ? archive.records.latest(kind) : archive.records.versions(kind, options.versions, MOST_VERSIONS);
        if (options.versions !== undefined && stored.length === 0) throw new Stop(exitCode.badInput, `The archive holds no record of the type ${options.versions}. Without --versions those that it holds are listed.`);
        if (stored.length === 0 && options.json !== true) say('The archive holds no record of a type.');
        for (const one of stored) tellType(one, options.json === true);
      } finally {
        archive.close();
      }
    });

  group
    .command('show')
    .description('the record of a type as JSON, as `type-record save` reads it')
    .argument('<type>', 'as injectors of it are booked in')
    .addOption(new Option('--at-version <number>', 'an earlier version (default: the latest)').argParser(wholeNumber(1)))
    .addOption(archiveOption())
    .action((type: string, options: Common & { atVersion?: number }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const stored = archive.records.versions(kind, type, MOST_VERSIONS);
        const one = options.atVersion === undefined ? stored[0] : stored.find(({ version }) => version === options.atVersion);
        if (one === undefined) throw new Stop(exitCode.badInput, stored.length === 0 ? `The archive holds no record of the type ${type}. \`type-record list\` names those that it holds.` : `The record of the type ${type} has no version ${options.atVersion ?? ''}; its latest is ${stored[0]?.version ?? ''}.`);
        sayJson(stated(one), 2);
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('save'))
    .description('look a record through and save it as the next version of its type')
    .argument('<file>', 'the record, as `type-record show` prints it and app/type-record/README.md describes it')
    .addOption(new Option('--reason <text>', 'why it is changed, or where it comes from; kept with this version').makeOptionMandatory())
    .addOption(new Option('--operator <name>', 'who saves it; kept with this version. Without it a terminal is asked').env(variables.operator))
    .addOption(new Option('--based-on <number>', 'the version that the change was made on; refused where another was saved since. 0: there is none yet').argParser(wholeNumber(0)))
    .addOption(archiveOption())
    .action(async (file: string, options: Common & { reason: string; operator?: string; basedOn?: number }) => {
      const record = typeRecordFile(file);
      const by = await whoMeasures(options.operator);
      const archive = archivePlace(options.archive, 'write');
      try {
        const document: TypeRecord = { ...record, changed: { by, reason: options.reason } };
        const saved = archive.records.save({ kind, name: record.type, document, by, basedOn: options.basedOn });
        if (!saved.ok) throw new Stop(saved.code === 'refused' ? exitCode.badInput : exitCode.archive, saved.text);
        const [one] = archive.records.versions(kind, record.type, 1);
        if (one !== undefined) tellType(one, options.json === true);
      } finally {
        archive.close();
      }
    });
}

/** What a version says of the type, without who saved it and why. */
function stated({ document }: StoredRecord): Readonly<Record<string, unknown>> {
  return Object.fromEntries(Object.entries(document as Readonly<Record<string, unknown>>).filter(([part]) => part !== 'changed'));
}

function tellType(one: StoredRecord, json: boolean): void {
  const { name, version, savedAt, savedBy, document } = one;
  const { changed, ...record } = document as Partial<TypeRecord>;
  if (json) {
    printJson('type-record', { type: name, version, savedAt: isoTime(savedAt), savedBy, reason: changed?.reason ?? null, record });
    return;
  }
  say(`${name}  version ${version}  ${isoTime(savedAt)}  by ${savedBy}${changed === undefined ? '' : `: ${changed.reason}`}`);
  const { staticFlowGPerMin: flow, flowPressureKpa = 400, flowFluid, resistanceOhm: ohm, minVoltageV, maxVoltageV, minPressureKpa, maxPressureKpa, minWidthMs, maxWidthMs, template } = record;
  const limit = (low: number | undefined, high: number | undefined, unit: string): string => (low === undefined && high === undefined ? '' : `${low === undefined ? '' : `from ${plain(low)} `}${high === undefined ? '' : `to ${plain(high)} `}${unit}`);
  const told = [
    flow === undefined ? '' : `${plain(flow)} g/min at ${plain(flowPressureKpa)} kPa${flowFluid === undefined ? '' : ` of ${flowFluid}`}`,
    ohm === undefined ? '' : `coil ${plain(ohm)} ohm at 20 degC`,
    limit(minVoltageV, maxVoltageV, 'V'), limit(minPressureKpa, maxPressureKpa, 'kPa'), limit(minWidthMs, maxWidthMs, 'ms'),
    template === undefined ? '' : 'with a plan to begin from',
  ].filter((part) => part !== '');
  say(`  ${told.length === 0 ? 'nothing stated' : told.join('; ')}`);
}

function addVisits(group: Command): void {
  withJsonOption(group.command('list'))
    .description('what was kept of injectors, the latest first')
    .argument('[serial]', 'of this injector only; without it the latest of all')
    .addOption(archiveOption())
    .action((serial: string | undefined, options: Common) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const kept = serial === undefined ? archive.visits.latest(MOST_VISITS) : archive.visits.of(serial).toReversed();
        if (serial !== undefined && kept.length === 0) throw new Stop(exitCode.badInput, `The archive holds no record of a visit of injector ${serial}. Without a serial number those of all injectors are listed.`);
        if (kept.length === 0 && options.json !== true) say('The archive holds no record of a visit.');
        const corrections = correctedBy(kept);
        for (const one of kept) tellVisit(one, corrections.get(one.no) ?? null, options.json === true);
      } finally {
        archive.close();
      }
    });

  group
    .command('show')
    .description('a record of a visit as JSON')
    .argument('<number>', 'of the record, as `visit list` gives it', wholeNumber(1))
    .addOption(archiveOption())
    .action((no: number, options: Common) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const one = archive.visits.one(no);
        if (one === null) throw new Stop(exitCode.badInput, `The archive holds no record ${no} of a visit. \`visit list\` gives those that it holds.`);
        sayJson(one.record, 2);
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('add'))
    .description('look a record of a visit through and keep it for good')
    .argument('<file>', 'the record, as app/visit/README.md describes it')
    .addOption(new Option('--photo <files...>', `photos that are kept with it: JPEG or PNG, ${mostPhotos} at most`))
    .addOption(archiveOption())
    .action((file: string, options: Common & { photo?: readonly string[] }) => {
      const photos = (options.photo ?? []).map(photoFile);
      if (photos.length > mostPhotos) throw new Stop(exitCode.badInput, `A record has ${mostPhotos} photos at most; ${photos.length} were named. Nothing was kept.`);
      const visit = visitFile(file, { photos: photos.length, latest: latestDay(machineClock.unixNow()) });
      const archive = archivePlace(options.archive, 'write');
      try {
        const added = archive.visits.add(visit, photos);
        if (!added.ok) throw new Stop(added.code === 'refused' ? exitCode.badInput : exitCode.archive, added.text);
        tellVisit(added.stored, null, options.json === true);
      } finally {
        archive.close();
      }
    });
}

/** A photo with what its own bytes say of it; a sentence is refused. */
function photoFile(path: string): PhotoToKeep {
  let data: Buffer;
  try {
    data = readFileSync(path);
  } catch (error) {
    throw new Stop(exitCode.badInput, `The photo ${path} cannot be read (${(error as Error).message}). Nothing was kept.`);
  }
  const read = readPhoto(data, path);
  if (!read.ok) throw new Stop(exitCode.badInput, `The photo ${path} was not taken. ${read.text} Nothing was kept.`);
  return { ...read.photo, shows: basename(path).replace(/\.\w+$/u, '').slice(0, 200), data };
}

function tellVisit({ no, savedAt, record }: StoredVisit, corrected: number | null, json: boolean): void {
  const { serialNumber, type, order, stage, doneOn, by, corrects, coil } = record;
  const at20 = coil === null ? null : coilAt20(coil);
  if (json) {
    printJson('visit', { no, savedAt: isoTime(savedAt), serialNumber, type, order, stage, doneOn, by, corrects, correctedBy: corrected, coilOhmAt20C: at20?.ohm ?? null, coilOhmExpanded: at20?.expanded ?? null, record });
    return;
  }
  const stands = [corrects === null ? '' : `corrects record ${corrects}`, corrected === null ? '' : `corrected by record ${corrected}`].filter((part) => part !== '').join(', ');
  say(`Record ${no}  ${serialNumber}  ${doneOn}  ${visitStages[stage].toLowerCase()}  by ${by}${order === '' ? '' : `  job ${order}`}${stands === '' ? '' : `  (${stands})`}`);
  for (const line of foundWords(record)) say(`  ${line}`);
}

/** What was found, a line for each. */
function foundWords({ coil, insulation, leak, visual, spray, remark, corrects, photos }: StoredVisit['record']): readonly string[] {
  const at20 = coil === null ? null : coilAt20(coil);
  return [
    at20 === null || coil === null ? '' : `coil ${at20.expanded === null ? figure(at20.ohm) : plusMinus(at20.ohm, at20.expanded)} ohm at 20 degC (read ${plain(coil.ohm)} ohm at ${plain(coil.celsius)} degC)`,
    insulation === null ? '' : `insulation ${insulation.least ? 'above ' : ''}${plain(insulation.megohm)} Mohm at ${plain(insulation.volts)} V`,
    leak === null ? '' : `leak ${plain(leak.mlPerMinute)} mL/min at ${plain(leak.kilopascals)} kPa`,
    visual === '' ? '' : `visual: ${visual}`, spray === '' ? '' : `spray: ${spray}`, remark === '' ? '' : `${corrects === null ? 'remark' : 'because'}: ${remark}`,
    photos.length === 0 ? '' : `${photos.length} ${photos.length === 1 ? 'photo' : 'photos'}`,
  ].filter((part) => part !== '');
}
