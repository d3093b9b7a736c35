/** What plans will come to, before anything is measured (SCH-11). */
import { Option, type Command } from 'commander';
import type { Plan } from '../../app/plan/plan.ts';
import { forecastOf, planByHours, whatHoursBuy, type Bought, type Forecast } from '../../app/schedule/forecast.ts';
import { cellPlace, forecastRows, expectedText } from '../../app/schedule/forecast-rows.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import { equipmentFor, planFile } from './documents.ts';
import { printJson, withJsonOption, type Line } from './json.ts';
import { exitCode } from './exit-codes.ts';
import { equipmentOption } from './places.ts';
import { columnLines } from './print-table.ts';
import { say, widthOf } from './say.ts';
import { Stop } from './stop.ts';
import { axis } from './values.ts';

const forPrograms = (file: string, name: string, { hours, points, cells, others }: Forecast): Line<'forecast'> => ({
  file, plan: name, hours, points,
  cells: cells.map(({ voltage, pressure, expanded, least, wanted, largest, without }) => ({ voltage, pressurePa: pressure, expandedS: expanded, leastS: least, wantedS: wanted, largestPart: largest, withoutItS: without })),
  others: others.map(({ of, serialNumber, voltage, pressure, expanded, least, wanted, state, largest, advice }) => ({
    of, serialNumber, voltage, pressurePa: pressure, expanded, least, wanted, state, largestPart: largest === null ? null : labelOf(largest), advice,
  })),
});

function printForecast(file: string, name: string, forecast: Forecast): void {
  say(`${file} (${name}): about ${forecast.hours.toFixed(2)} h of bench time, ${forecast.points} points.`);
  const rows = forecastRows(forecast).map(({ place, expanded, least, wanted, standing, largest }) => [place, expanded, least, wanted, standing, largest]);
  say(...columnLines([['', 'U95', 'instruments alone', 'wanted', '', 'largest part that no window takes off'], ...rows], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)), '');
}

/** A plan whose axes cannot be measured by a schedule is refused with what is missing. */
function withTargets(file: string, plan: Plan): Plan {
  const parsed = planByHours(plan);
  if (parsed.ok) return plan;
  throw new Stop(exitCode.badInput, `${file} cannot be measured by hours: ${parsed.problems.map(({ path, text }) => `${path}: ${text}`).join(' ')}`);
}

/** Rows of hours, a column for each dead time. CLI-60 */
function printBought(file: string, name: string, bought: readonly Bought[]): void {
  say(`${file} (${name}): U95 of dead times that so many hours buy, the largest of all injectors.`);
  const cells = bought[0]?.cells ?? [];
  const rows = bought.map((one) => [`${one.hours} h`, `${one.took.toFixed(2)} h`, ...one.cells.map(({ expanded }) => expectedText(expanded))]);
  say(...columnLines([['at most', 'taken', ...cells.map(cellPlace)], ...rows, ['', 'instruments alone', ...(bought.at(-1)?.cells ?? []).map(({ least }) => expectedText(least))]], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)), '');
}

export function addForecastCommand(program: Command): void {
  withJsonOption(program.command('forecast'))
    .description('expected hours and U95 of each dead time of one plan or several, and which target instruments keep from being reached')
    .argument('<plans...>', 'plan files; - is standard input')
    .addOption(new Option('--hours <list>', 'the curve in place of it: what U95 each of these budgets of hours buys, like 0.5,1,2,4').argParser(axis(1)))
    .addOption(equipmentOption())
    .action((files: readonly string[], options: { equipment?: string; hours?: readonly number[]; json?: true }) => {
      const equipment = equipmentFor(options);
      const { hours } = options;
      if (hours !== undefined) {
        const plans = files.map((file) => ({ file, plan: withTargets(file, planFile(file)) }));
        for (const { file, plan } of plans) {
          const bought = whatHoursBuy(plan, equipment, hours);
          if (options.json !== true) printBought(file, plan.name, bought);
          else {
            for (const { hours: most, took, cells } of bought) {
              printJson('forecast', { kind: 'hours', file, plan: plan.name, hours: most, took, cells: cells.map(({ voltage, pressure, expanded, least }) => ({ voltage, pressurePa: pressure, expandedS: expanded, leastS: least })) });
            }
          }
        }
        return;
      }
      const forecasts = files.map((file) => {
        const plan = planFile(file);
        return { file, name: plan.name, forecast: forecastOf(plan, equipment) };
      });
      for (const { file, name, forecast } of forecasts) {
        if (options.json === true) printJson('forecast', forPrograms(file, name, forecast));
        else printForecast(file, name, forecast);
      }
      if (options.json === true) return;
      say('For usual dead times and a good bench: it compares plans, and says what instruments leave. What a run states is worked out from what it measured.');
    });
}
