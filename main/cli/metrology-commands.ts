/** Commands that look at measurements as such: outliers, matched sets, history of a reference injector. */
import { Option, type Command } from 'commander';
import { blindHistories, blindVerdict, type RunWithBlind } from '../../app/charts/blind-history.ts';
import { fewestInBaseline, type IndividualsChart } from '../../app/charts/individuals-chart.ts';
import { judgedHistory } from '../../app/charts/judged-history.ts';
import { referenceHistories, type ReferenceHistory } from '../../app/charts/reference-history.ts';
import type { RuleSet } from '../../app/charts/rules.ts';
import { candidatesOf, criterionOf, type MatchPoint, type ReducedRun } from '../../app/matching/candidates.ts';
import type { SetsWanted } from '../../app/matching/problem.ts';
import { matchSets, type MatchedSet } from '../../app/matching/match.ts';
import { pointText, usualPoints } from '../../app/matching/points.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { formatExpanded, formatQuantity } from '../../app/quantities/format.ts';
import { kilograms, kilopascals, milliseconds, volts, type UnixMillis } from '../../app/quantities/quantity.ts';
import type { Result } from '../../app/uncertainty/budget.ts';
import { lowestWidthText, repeatabilityByWidth } from '../../app/results/repeatability-by-width.ts';
import { findOutliers } from '../../app/results/outliers.ts';
import { massesOf } from '../../app/results/run-results.ts';
import type { Archive } from '../archive/archive.ts';
import type { StoredRun } from '../archive/read.ts';
import { isoMinute } from '../clock/dating.ts';
import { reduceState } from '../export/export-run.ts';
import { runsWithReference } from '../export/reference-runs.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, withJsonOption } from './json.ts';
import { historyForPrograms, matchForPrograms, outliersForPrograms, repeatabilityForPrograms } from './metrology-for-programs.ts';
import { archiveOption } from './places.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { say } from './say.ts';
import { Stop } from './stop.ts';
import { wholeNumber } from './values.ts';

interface ArchiveChoice {
  readonly archive: string;
  readonly json?: true;
}

const day = (at: UnixMillis): string => isoMinute(at);

export function addMetrologyCommands(program: Command): void {
  withJsonOption(program.command('outliers'))
    .description('show replicates that do not belong together (nothing is left out), and repeatability over pulse width')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .action((run: string | undefined, options: ArchiveChoice) => withArchive(options.archive, (archive) => printOutliers(archive, chosenRun(archive, run), options.json === true)));

  withJsonOption(program.command('match'))
    .description('choose sets of alike injectors out of one run or several')
    .argument('[runs...]', 'ids or their beginnings; without them the latest run')
    .addOption(new Option('--sets <number>', 'how many sets').argParser(wholeNumber(1)).default(1))
    .addOption(new Option('--of <number>', 'injectors in a set').argParser(wholeNumber(2)).default(4))
    .addOption(new Option('--objective <what>', 'what is to be least: the greatest spread of a set, or the total of all').choices(['greatest', 'total']).default('greatest'))
    .addOption(
      new Option(
        '--at <points...>',
        'where they are compared: mass:14V:400kPa:2.5ms, slope:14V:400kPa, dead-time:14V:400kPa, static-flow:400kPa; :x2 counts double, :period=10ms another period than the plan\'s first',
      ),
    )
    .addOption(archiveOption())
    .action((runs: readonly string[], options: ArchiveChoice & SetsWanted & { at?: readonly string[] }) =>
      withArchive(options.archive, (archive) => printMatch(archive, runs.length === 0 ? [chosenRun(archive, undefined)] : runs.map((run) => chosenRun(archive, run)), options)),
    );

  withJsonOption(program.command('blind-history'))
    .description('blind windows of each bench over the runs of an archive: does the stated random part hold?')
    .addOption(archiveOption())
    .action((options: ArchiveChoice) => withArchive(options.archive, (archive) => printBlindHistories(archive, options.json === true)));

  withJsonOption(program.command('reference-history'))
    .description('chart the reference injector over the runs of an archive, with signals by published rules')
    .argument('[serial]', 'serial number; without it every reference injector')
    .addOption(new Option('--rules <set>', 'which rules').choices(['limits', 'western-electric', 'nelson']).default('limits'))
    .addOption(new Option('--baseline <runs>', 'the first so many runs set the limits; without it 20, or all where there are fewer').argParser(wholeNumber(fewestInBaseline)))
    .addOption(archiveOption())
    .action((serial: string | undefined, options: ArchiveChoice & { rules: RuleSet; baseline?: number }) =>
      withArchive(options.archive, (archive) => printHistories(archive, serial, options)),
    );
}

/** Every run that has blind windows, reduced. */
function* runsWithBlind(archive: Archive, silent: boolean): Generator<RunWithBlind> {
  for (const { id, createdAt } of archive.everyRun()) {
    const state = stateOf(archive, id, { silent });
    if (!state.setPoints.some((p) => p.role === 'blind') || state.bench === null) continue;
    const { model, serialNumber } = state.bench.identity;
    yield { id, at: createdAt, bench: `${model} ${serialNumber}`, blind: reduceState(state).blind };
  }
}

/** RED-116 to RED-118. */
function printBlindHistories(archive: Archive, json: boolean): void {
  const histories = blindHistories([...runsWithBlind(archive, json)]);
  if (histories.length === 0) throw new Stop(exitCode.badInput, `No run in ${archive.path} has a blind window that counts. Give plans blind.percent above 0.`);
  for (const history of histories) {
    if (history.whole.called !== null) process.exitCode = exitCode.checkFailed;
    if (json) {
      const { bench, runs, whole } = history;
      printJson('blind-history', { bench, text: blindVerdict(whole), ...whole, runs: runs.map((r) => ({ ...r, at: new Date(r.at).toISOString() })) });
      continue;
    }
    say('', `Bench ${history.bench}`);
    history.runs.forEach(({ run, at, told, inside, spread, sealed }, i) => {
      const scatter = spread === null ? '' : `  scatter ${spread.toFixed(2)} of stated`;
      say(`${String(i + 1).padStart(4)}  ${day(at)}  ${run.slice(0, 13)}  ${String(inside).padStart(3)} of ${String(told).padStart(3)} inside${scatter}${sealed === 0 ? '' : `  ${sealed} sealed`}`);
    });
    say(blindVerdict(history.whole));
  }
}

function printOutliers(archive: Archive, id: string, json: boolean): void {
  const state = stateOf(archive, id, { silent: json });
  const reduction = reduceState(state);
  const masses = massesOf(reduction.windows);
  const report = findOutliers(masses, reduction.scatter, state.plan);
  const limit = state.plan.reduction.repeatabilityPercent;
  const byWidth = repeatabilityByWidth(masses, limit);
  if (json) {
    for (const line of outliersForPrograms(id, state.notTraceable, report)) printJson('outliers', line);
    for (const one of byWidth) printJson('outliers', repeatabilityForPrograms(one, limit));
    return;
  }
  say(...report.outliers.map((outlier) => outlier.text), report.text);
  for (const { pressure, period, widths, lowest } of byWidth) {
    say('', `Repeatability at ${pressure / 1e3} kPa, period ${period * 1e3} ms, over all injectors and voltages (s_r, its 95 % interval, limit r = 2.77 s_r, s_r by algorithm S, which a few disturbed groups hardly move):`);
    for (const { width, repeatability: r } of widths) {
      const percent = (value: number): string => (100 * value).toFixed(3);
      say(
        `${(width * 1e3).toFixed(3).padStart(9)} ms  ${r.kind === 'repeatability' ? `${percent(r.sd)} %  (${percent(r.interval.low)} to ${percent(r.interval.high)}) %  r ${percent(r.limit)} %  S ${r.robustSd === null ? '–' : `${percent(r.robustSd)} %`}  ${r.dof} degrees of freedom` : `– ${r.text}`}`,
      );
    }
    say(lowestWidthText(lowest, limit));
  }
}

function printMatch(archive: Archive, ids: readonly string[], { sets, of, objective, at, json = false }: SetsWanted & { at?: readonly string[]; json?: boolean }): void {
  const plans: Plan[] = [];
  const standing: { run: string; notTraceable: string[] }[] = [];
  const runs = [...new Set(ids)].map((id): ReducedRun => {
    const state = stateOf(archive, id, { silent: json });
    plans.push(state.plan);
    standing.push({ run: id, notTraceable: [...state.notTraceable] });
    return { id, at: storedRun(archive, id).createdAt, equipment: state.equipment, reduction: reduceState(state), settings: state.plan.reduction };
  });
  const [plan] = plans;
  if (plan === undefined) throw new Error('at least one run was chosen');
  const points = at === undefined ? usualPoints(plan, runs) : at.map((text) => matchPoint(text, plan));
  const joined = candidatesOf(runs, points);
  if ('kind' in joined) throw new Stop(exitCode.badInput, joined.text);
  const { candidates, leftOut, cautions } = joined;
  const leftOutLines = leftOut.map(({ serialNumber, text }) => `Left out: ${serialNumber}. ${text}`);
  const match = matchSets(candidates, points, { sets, of, objective });
  if (match.kind === 'no-choice') throw new Stop(exitCode.badInput, ...leftOutLines, match.text);
  if (json) {
    printJson('match', matchForPrograms(match, joined, standing, points.map((point) => ({ text: pointText(point), scale: criterionOf(point).scale, weight: point.weight }))));
    return;
  }
  say(...points.map((point, p) => `Point ${p + 1}: ${pointText(point)}`), ...cautions.map((caution) => `Caution: ${caution}`), ...leftOutLines);
  match.sets.forEach((set, s) => printSet(set, s, points));
  say('', `In no set: ${match.left.length === 0 ? 'nobody' : match.left.map((c) => c.serialNumber).join(', ')}`);
  say(`Greatest cost ${match.greatest.toFixed(3)}, total ${match.total.toFixed(3)}. ${match.text}`);
}

function printSet({ members, cost, points }: MatchedSet, index: number, asked: readonly MatchPoint[]): void {
  say('', `Set ${index + 1}, cost ${cost.toFixed(3)} (deviation from the mean of the set, ± expanded uncertainty, 95 %)`);
  const units = asked.map((point) => (criterionOf(point).scale === 'percent' ? '%' : 'µs'));
  const cell = (r: Result | undefined, p: number): string => (r === undefined ? '' : `${r.value.toFixed(2)} ± ${r.expanded.toFixed(2)} ${units[p] ?? ''}`).padStart(22);
  members.forEach((member, m) => say(`  ${member.serialNumber.padEnd(14)}${points.map((point, p) => cell(point.deviations[m], p)).join('')}  run ${member.run.slice(0, 13)} of ${day(member.at)}`));
  say(`  ${'spread'.padEnd(14)}${points.map((point, p) => cell(point.spread, p)).join('')}`);
}

/** `mass:14V:400kPa:2.5ms:x2`; widths and periods must be written as the plan writes them to be found among the measured ones. */
function matchPoint(text: string, plan: Plan): MatchPoint {
  const [quantity, ...rest] = text.split(':');
  const bad = (why: string): Stop => new Stop(exitCode.badInput, `--at ${text}: ${why} Write it like mass:14V:400kPa:2.5ms, slope:14V:400kPa, dead-time:14V:400kPa or static-flow:400kPa.`);
  const found = new Map<string, number>();
  for (const part of rest) {
    const [, prefix = '', number = '', unit = ''] = /^(x|period=)?(\d+(?:\.\d+)?)(V|kPa|ms)?$/.exec(part) ?? [];
    const name = prefix === 'x' && unit === '' ? 'weight' : prefix === 'period=' && unit === 'ms' ? 'period' : prefix === '' ? unit : '';
    const value = Number(number);
    if (name === '' || !(value > 0) || found.has(name)) throw bad(`"${part}" is not understood.`);
    found.set(name, value);
  }
  const needed = (name: string): number => {
    const value = found.get(name);
    if (value === undefined) throw bad(`A value in ${name} is missing.`);
    found.delete(name);
    return value;
  };
  const weight = found.get('weight') ?? 1;
  const periodMs = found.get('period') ?? plan.axes.periodMs[0] ?? 20;
  found.delete('weight');
  found.delete('period');
  const point = ((): MatchPoint => {
    switch (quantity) {
      case 'static-flow':
        return { quantity, pressure: kilopascals(needed('kPa')), weight };
      case 'slope':
      case 'dead-time':
        return { quantity, voltage: volts(needed('V')), pressure: kilopascals(needed('kPa')), period: milliseconds(periodMs), weight };
      case 'mass':
        return { quantity, voltage: volts(needed('V')), pressure: kilopascals(needed('kPa')), period: milliseconds(periodMs), width: milliseconds(needed('ms')), weight };
      default:
        throw bad('There is no such quantity.');
    }
  })();
  if (found.size > 0) throw bad(`A value in ${[...found.keys()].join(' and ')} does not belong to ${quantity}.`);
  return point;
}

function storedRun(archive: Archive, id: string): StoredRun {
  const run = archive.run(id);
  if (run === null) throw new Error(`the archive has no run ${id}`);
  return run;
}

function printHistories(archive: Archive, serial: string | undefined, options: { rules: RuleSet; baseline?: number; json?: boolean }): void {
  const json = options.json === true;
  const histories = referenceHistories([...runsWithReference(archive, (id) => stateOf(archive, id, { silent: json }))]).filter((h) => serial === undefined || h.serialNumber === serial);
  if (histories.length === 0) {
    throw new Stop(exitCode.badInput, `No run in ${archive.path} has an accepted reference point${serial === undefined ? '' : ` of injector ${serial}`}. Give the plan a reference.`);
  }
  let signals = 0;
  for (const history of histories) {
    const { chart, newest, enough, chance, signals: own } = judgedHistory(history, options);
    signals += own;
    if (json) {
      printJson('reference-history', historyForPrograms(history, chart, newest, chance));
      continue;
    }
    say('', `Reference injector ${history.serialNumber} at ${history.voltage} V, ${history.pressure / 1e3} kPa, ${history.width * 1e3} ms, period ${history.period * 1e3} ms; Qd referred to ${history.referenceC} degC`);
    printHistory(history, chart.kind === 'chart' ? chart : null);
    if (chart.kind === 'no-chart') say(`No limits: ${chart.text}`);
    else {
      say(...chart.signals.map((signal) => signal.text), ...chart.cautions.map((caution) => `Caution: ${caution}`));
      say(`${chart.signals.length === 0 ? 'No signals by these rules.' : `${chart.signals.length} signals. Look for what changed before the bench is trusted: meter, fluid, transducers, the injector itself.`} ${chance}`);
    }
    if (enough) continue;
    const mg = (value: number): string => formatQuantity(kilograms(value), 'mg', kilograms((newest?.high ?? 0) - (newest?.low ?? 0)));
    if (newest === null) say('Three runs before the newest at least are needed to judge it by them.');
    else say(`The newest run lies ${newest.outside ? 'outside' : 'inside'} ${mg(newest.low)} to ${mg(newest.high)}, where 99 of 100 lie by those before it if nothing changed. The others are too few to judge each other.`);
  }
  if (signals > 0) process.exitCode = exitCode.checkFailed;
}

function printHistory({ runs }: ReferenceHistory, chart: IndividualsChart | null): void {
  if (chart !== null) {
    const mg = (value: number): string => formatQuantity(kilograms(value), 'mg', kilograms(chart.sigma));
    say(`Limits from the first ${chart.baseline} runs: ${mg(chart.individuals.lower)} to ${mg(chart.individuals.upper)} about ${mg(chart.individuals.centre)}; moving range up to ${mg(chart.movingRange.upper)}`);
  }
  runs.forEach(({ run, at, mass, meterCertificate }, i) => {
    const z = chart === null ? '' : `  ${((mass.value - chart.individuals.centre) / chart.sigma).toFixed(2).padStart(6)} σ`;
    const flags = chart?.signals.flatMap((s) => (s.index === i ? [s.chart === 'individuals' ? s.rule : `${s.rule} range`] : [])).join(' ') ?? '';
    const value = formatExpanded(kilograms(mass.value), 'mg', kilograms(mass.expanded));
    say(`${String(i + 1).padStart(4)}  ${day(at)}  ${run.slice(0, 13)}  ${value}${z}  meter ${meterCertificate}  ${flags}`.trimEnd());
  });
}
