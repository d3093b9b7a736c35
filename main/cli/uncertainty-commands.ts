/** What stands behind an uncertainty: the Monte Carlo beside it (TAB-27). */
import { Option, type Command } from 'commander';
import { runTrials, trialWords } from '../../app/results/line-trials.ts';
import type { TrialRow } from '../../app/results/line-trials.ts';
import { reduceState } from '../export/export-run.ts';
import { chosenRun } from './chosen-run.ts';
import { exitCode } from './exit-codes.ts';
import { printJson, quietOption, withJsonOption, type Line } from './json.ts';
import { archiveOption } from './places.ts';
import { columnLines } from './print-table.ts';
import { stateOf, withArchive } from './result-commands.ts';
import { LiveLine, say, widthOf } from './say.ts';
import { Stop } from './stop.ts';

const trialsForPrograms = (run: string, { quantity, serialNumber, voltage, pressure, period, stated, trials }: TrialRow): Line<'monte-carlo'> => ({
  run, quantity, injector: serialNumber, voltage, pressurePa: pressure, periodS: period, value: stated.value, u: stated.u, expanded: stated.expanded,
  mean: trials.mean, uOfTrials: trials.u, low: trials.low, high: trials.high, trials: trials.trials, tolerance: trials.tolerance, numerical: trials.numerical, verdict: trials.verdict,
});

interface MonteCarloOptions {
  readonly archive: string;
  readonly seed?: string;
  readonly quiet?: true;
  readonly json?: true;
}

function printTrials(named: string | undefined, { archive: path, seed, quiet, json }: MonteCarloOptions): Promise<void> {
  return withArchive(path, (archive) => {
    const id = chosenRun(archive, named);
    const state = stateOf(archive, id, { silent: json === true });
    const rows: TrialRow[] = [];
    const line = new LiveLine();
    for (const row of runTrials(reduceState(state), seed ?? id)) {
      rows.push(row);
      if (json === true) printJson('monte-carlo', trialsForPrograms(id, row));
      else if (quiet !== true) line.show(() => [`${rows.length} done: ${trialWords(row).place}`, `${rows.length} done`]);
    }
    line.clear();
    if (rows.length === 0) throw new Stop(exitCode.badInput, `Run ${id} has no line and no static flow, so there is nothing to try. 'reduce' says why.`);
    if (json === true) return;
    const words = rows.map((row) => ({ ...trialWords(row), trialCount: String(row.trials.trials) }));
    say(...columnLines([['', 'stated, 95 %', 'Monte Carlo, 95 %', 'trials', ''], ...words.map((w) => [w.place, w.stated, w.trials, w.trialCount, w.verdict])], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)));
    const apart = rows.filter(({ trials }) => trials.verdict !== 'agrees').length;
    say('', `${rows.length - apart} of ${rows.length} agree within half a unit of the first digit of the standard uncertainty (JCGM 101:2008, clause 8).${apart === 0 ? '' : ' Where they do not, the interval of the Monte Carlo is the better one: what is stated takes the calculation for linear.'}`);
  });
}

export function addUncertaintyCommands(program: Command): void {
  withJsonOption(program.command('monte-carlo'))
    .description('a Monte Carlo (JCGM 101) beside each dead time, slope and static flow of a run, and whether it agrees with what is stated')
    .argument('[run]', 'id or its beginning; without it the latest run')
    .addOption(archiveOption())
    .addOption(new Option('--seed <text>', 'of the trials: the same text gives the same numbers (default: the id of the run)'))
    .addOption(quietOption())
    .action(printTrials);
}
