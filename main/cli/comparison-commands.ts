/** Two sets of results against each other, and what a type is like over all runs (CMP-1 to CMP-10). */
import { existsSync, readFileSync } from 'node:fs';
import { basename, resolve } from 'node:path';
import type { Command } from 'commander';
import { statedOfRun } from '../../app/handover/stated.ts';
import { figure, plain, plusMinus } from '../../app/quantities/figures.ts';
import { agreementOf, pairVerdict, placeWords, shownQuantities } from '../../app/results/agreement.ts';
import type { AgreementRow, StatedSet } from '../../app/results/agreement.ts';
import { spreadWords, typeSpreads } from '../../app/results/type-spread.ts';
import type { TypeSpread } from '../../app/results/type-spread.ts';
import type { Archive } from '../archive/archive.ts';
import { reduceState } from '../export/export-run.ts';
import { statedInText, typedRuns } from '../handover/stated-text.ts';
import { uuidOfName } from '../handover/uuid.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption, type Line } from './json.ts';
import { archiveOption, archivePlace } from './places.ts';
import { columnLines } from './print-table.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say, tell, widthOf } from './say.ts';
import { Stop } from './stop.ts';

/** A file by its name; anything else is a run of the archive. */
const isFile = (named: string): boolean => /\.(?:json|xml|csv)$/iu.test(named) && existsSync(resolve(named));

function statedInFile(path: string): StatedSet {
  let text: string;
  try {
    text = readFileSync(resolve(path), 'utf8');
  } catch (error) {
    throw new Stop(exitCode.badInput, `${path} cannot be read (${(error as Error).message}). Check the path.`);
  }
  const read = statedInText(basename(path), text);
  if (!read.ok) throw new Stop(exitCode.badInput, `${path}: ${read.text}`);
  tell(...read.said);
  return read.set;
}

function statedInArchive(archive: Archive, named: string | undefined, silent: boolean): StatedSet {
  const id = chosenRun(archive, named);
  const state = stateOf(archive, id, { silent });
  return statedOfRun(`run ${id}`, { id, equipment: state.equipment, reduction: reduceState(state) }, uuidOfName);
}

const rowForPrograms = ({ first, second, difference, u, expanded, en, zeta, correlation }: AgreementRow, verdict: string): Line<'compare'> => ({
  kind: 'pair', injector: first.of, quantity: first.quantity, voltage: first.voltage ?? second.voltage, pressurePa: first.pressure ?? second.pressure, periodS: first.period ?? second.period,
  first: first.value, firstExpanded: first.expanded, second: second.value, secondExpanded: second.expanded, difference, u, expanded, en, zeta, errorsInCommon: correlation === 'named' ? 'by-name' : 'not-known', verdict,
});

interface CompareOptions {
  readonly archive: string;
  readonly json?: true;
}

function compare(first: string, second: string, { archive: path, json }: CompareOptions): void {
  const archive = isFile(first) && isFile(second) ? null : archivePlace(path, 'read');
  try {
    const read = (named: string): StatedSet => (isFile(named) || archive === null ? statedInFile(named) : statedInArchive(archive, named, json === true));
    const [a, b] = [read(first), read(second)];
    const { rows, sums, left, text } = agreementOf(a, b);
    if (rows.length === 0) throw new Stop(exitCode.badInput, `Nothing of ${a.name} and ${b.name} can be compared. ${left.join(' ')}`);
    if (json === true) {
      for (const row of rows) printJson('compare', rowForPrograms(row, pairVerdict(row)));
      printJson('compare', {
        kind: 'verdict', first: a.name, second: b.name, text, left: [...left],
        sums: sums.map(({ quantity, rows: pairs, apart, mean }) => ({ quantity, pairs, apart, mean: mean === null ? null : { ...mean } })),
      });
      return;
    }
    const lines = rows.map((row) => {
      const { unit, factor } = shownQuantities[row.first.quantity];
      return [placeWords(row.first), figure(row.first.value * factor, row.first.expanded * factor), figure(row.second.value * factor, row.second.expanded * factor), `${plusMinus(row.difference * factor, row.expanded * factor, true)} ${unit}`, row.en.toFixed(2), row.zeta.toFixed(2), pairVerdict(row)];
    });
    say(`First: ${a.name}. Second: ${b.name}. Differences are second less first.`, '', ...columnLines([['', 'first', 'second', 'difference', 'En', 'zeta', ''], ...lines], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)), '', text, ...left);
  } finally {
    archive?.close();
  }
}

const spreadForPrograms = (type: string, s: TypeSpread): Line<'type-spread'> => ({
  type, quantity: s.quantity, voltage: s.voltage, pressurePa: s.pressure, periodS: s.period, injectors: s.injectors, results: s.results, mean: s.mean.value, expanded: s.mean.expanded,
  seen: s.seen, measuring: s.measuring, left: s.left, tolerance: s.tolerance === null ? null : { ...s.tolerance }, text: spreadWords(s),
});

function typeSpread(asked: string | undefined, { archive: path, json }: CompareOptions): Promise<void> {
  return withArchive(path, (archive) => {
    const runs = [...typedRuns(archive, asked, (id) => stateOf(archive, id, { silent: json === true }))];
    const types = asked === undefined ? [...new Set(runs.flatMap((r) => r.types))].sort() : [asked];
    let told = 0;
    for (const type of types) {
      const spreads = typeSpreads(runs, type);
      told += spreads.length;
      if (json === true) {
        for (const s of spreads) printJson('type-spread', spreadForPrograms(type, s));
        continue;
      }
      if (spreads.length === 0) continue;
      const lines = spreads.map((s) => {
        const { name, unit, factor } = shownQuantities[s.quantity];
        const of = (value: number): string => figure(value * factor, s.mean.u * factor);
        return [
          `${name}, ${plain(s.voltage)} V, ${plain(s.pressure / 1e3)} kPa${s.period === 0 ? '' : `, ${plain(s.period * 1e3)} ms`}`, String(s.injectors), String(s.results), `${plusMinus(s.mean.value * factor, s.mean.expanded * factor)} ${unit}`,
          of(s.seen), of(s.measuring), of(s.left), s.tolerance === null ? 'too few' : `${of(s.tolerance.low)} to ${of(s.tolerance.high)}`,
        ];
      });
      say('', `Type ${type}`, ...columnLines([['', 'injectors', 'results', 'mean', 'seen', 'by measuring', 'of the injectors', '95 % of all, confidence 95 %'], ...lines], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)), '', ...spreads.map(spreadWords));
    }
    if (told === 0) throw new Stop(exitCode.badInput, `${asked === undefined ? 'No type' : `Type ${asked}`} has results of two injectors at one place in ${archive.path}. Measure more of them.`);
  });
}

export function addComparisonCommands(program: Command): void {
  withJsonOption(program.command('compare'))
    .description('hold two sets of results against each other: runs of an archive, tables.json, certificates (DCC) and CSV of a partner; En, zeta, and a verdict in words')
    .argument('<first>', 'id of a run or its beginning, or a file (.json, .xml, .csv)')
    .argument('<second>', 'the same')
    .addOption(archiveOption())
    .action(compare);

  withJsonOption(program.command('type-spread'))
    .description('what injectors of a type are like over all runs of an archive: mean, spread without that of measuring, and where 95 % of all lie (ISO 16269-6)')
    .argument('[type]', 'the type as plans name it; without it every type')
    .addOption(archiveOption())
    .action(typeSpread);
}
