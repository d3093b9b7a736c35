/** Commands for the daily qualification of a bench. CLI-40, CLI-41 */
import { Option, type Command } from 'commander';
import { benchName, evaluateQualification, parseQualification, type QualificationOutcome } from '../../app/qualification/qualification.ts';
import { qualificationStanding } from '../../app/qualification/standing.ts';
import type { StoredRecord } from '../archive/records.ts';
import { isoTime } from '../clock/dating.ts';
import { machineClock } from '../clock/machine.ts';
import { qualificationFile } from './documents.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { say } from './say.ts';
import { Stop } from './stop.ts';

/** A clock that writes a sheet may be ahead of the one that keeps it by this, ms. */
const aheadMs = 60_000;
/** The latest sheets of a bench that are listed. */
const MOST_SHEETS = 100;

const verdictWords = { pass: 'passes', fail: 'FAILS', undecided: 'not decided', missing: 'not done' } as const;

export function addQualificationCommands(program: Command): void {
  const group = program.command('qualification').description('daily qualifications of a bench, and until when it is qualified');

  withJsonOption(group.command('add'))
    .description('work out a sheet and keep it for good')
    .argument('<file>', 'the sheet, as app/equipment/README.md describes it')
    .addOption(archiveOption())
    .action((file: string, options: { archive: string; json?: true }) => {
      const sheet = qualificationFile(file);
      if (Date.parse(sheet.doneAt) > machineClock.unixNow() + aheadMs) throw new Stop(exitCode.badInput, `The sheet ${file} is dated ${sheet.doneAt}, which is after now. Nothing was kept. Correct doneAt, or the clock of this computer.`);
      const archive = archivePlace(options.archive, 'write');
      try {
        const name = benchName(sheet.controller);
        const saved = archive.records.save({ kind: 'qualification', name, document: sheet, by: sheet.by });
        if (!saved.ok) throw new Stop(exitCode.archive, saved.text);
        const outcome = evaluateQualification(sheet);
        tell({ bench: name, version: saved.version, doneAt: sheet.doneAt, by: sheet.by, outcome }, options.json === true);
        if (!outcome.qualified) process.exitCode = exitCode.checkFailed;
      } finally {
        archive.close();
      }
    });

  withJsonOption(group.command('list'))
    .description('the sheets of each bench, the latest last, and whether it is qualified now')
    .addOption(new Option('--bench <name>', 'of this bench only: model and serial number of its controller, as a sheet names it'))
    .addOption(archiveOption())
    .action((options: { archive: string; bench?: string; json?: true }) => {
      const archive = archivePlace(options.archive, 'read');
      try {
        const json = options.json === true;
        const names = archive.records.latest('qualification').map(({ name }) => name).filter((name) => options.bench === undefined || name === options.bench);
        if (options.bench !== undefined && names.length === 0) throw new Stop(exitCode.badInput, `The archive holds no qualification of ${options.bench}. Without --bench those of every bench are listed.`);
        if (names.length === 0 && !json) say('The archive holds no qualification of a bench.');
        for (const name of names) {
          const stored = archive.records.versions('qualification', name, MOST_SHEETS);
          for (const one of stored.toReversed()) tellStored(one, json);
          const { holds, text } = qualificationStanding(stored[0]?.document ?? null, name, machineClock.unixNow());
          if (json) printJson('qualification', { kind: 'standing', bench: name, holds, text });
          else say(text);
        }
      } finally {
        archive.close();
      }
    });
}

function tellStored({ name, version, savedAt, document }: StoredRecord, json: boolean): void {
  const parsed = parseQualification(document);
  if (parsed.ok) {
    const { doneAt, by } = parsed.qualification;
    tell({ bench: name, version, doneAt, by, outcome: evaluateQualification(parsed.qualification) }, json);
  } else throw new Stop(exitCode.archive, `Sheet ${version} of ${name}, saved at ${isoTime(savedAt)}, cannot be read by this program.`);
}

interface Told {
  readonly bench: string;
  readonly version: number;
  readonly doneAt: string;
  readonly by: string;
  readonly outcome: QualificationOutcome;
}

function tell({ bench, version, doneAt, by, outcome }: Told, json: boolean): void {
  const { lines, qualified, until, text } = outcome;
  if (json) {
    printJson('qualification', { kind: 'sheet', bench, version, doneAt, by, qualified, until: until === null ? null : isoTime(until), text, lines: lines.map(({ name, verdict, value, limit, source }) => ({ line: name, verdict, value, limit, source })) });
    return;
  }
  say(`Sheet ${version} of ${bench}  ${doneAt}  by ${by}`);
  for (const { title, verdict, value, limit, source } of lines) say(`  ${title.padEnd(32)} ${verdictWords[verdict].padEnd(12)} ${value} (${limit})${source === 'by-hand' ? ', by hand' : ''}`);
  say(`  ${text}`);
}
