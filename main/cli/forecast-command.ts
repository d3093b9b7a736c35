/** What plans will come to, before anything is measured (SCH-11). */
import type { Command } from 'commander';
import { forecastOf, type Forecast, type ForecastCell } from '../../app/schedule/forecast.ts';
import { isOfMap, isRelative, wantedQuantity, type CellProgress } from '../../app/schedule/progress.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import { equipmentFor, planFile } from './documents.ts';
import { printJson, withJsonOption, type Line } from './json.ts';
import { equipmentOption } from './places.ts';
import { columnLines } from './print-table.ts';
import { say, widthOf } from './say.ts';

const forPrograms = (file: string, name: string, { hours, points, cells, others }: Forecast): Line<'forecast'> => ({
  file, plan: name, hours, points,
  cells: cells.map(({ voltage, pressure, expanded, least, wanted, largest, without }) => ({ voltage, pressurePa: pressure, expandedS: expanded, leastS: least, wantedS: wanted, largestPart: largest, withoutItS: without })),
  others: others.map(({ of, serialNumber, voltage, pressure, expanded, least, wanted, state, largest, advice }) => ({
    of, serialNumber, voltage, pressurePa: pressure, expanded, least, wanted, state, largestPart: largest === null ? null : labelOf(largest), advice,
  })),
});

const us = (value: number | null): string => (value === null ? '-' : `${(value * 1e6).toFixed(1)} us`);

function reach({ expanded, least, wanted }: ForecastCell): string {
  if (wanted === null) return '';
  if (expanded === null || least === null) return 'no line';
  if (expanded <= wanted) return 'reached';
  return least > wanted ? 'no effort reaches it' : 'not reached';
}

/** What is wanted beside measured dead times, as rows like theirs. SCH-20 */
function otherRow(cell: CellProgress): readonly string[] {
  const { of, voltage, pressure, expanded, least, wanted, state, largest, advice } = cell;
  const amount = (value: number | null): string => (value === null ? '-' : isRelative(cell) ? `${(100 * value).toFixed(2)} %` : us(value));
  const standing = { reached: 'reached', open: 'not reached', 'used-up': 'not reached', beyond: 'no effort reaches it', 'no-line': 'no value' }[state];
  const place = isOfMap(cell) ? `${voltage} V, ${pressure / 1e3} kPa, map${of === 'map-slope' ? ', slope' : ''}` : `${of === 'slope' ? `${voltage} V, ` : ''}${pressure / 1e3} kPa, ${wantedQuantity(cell)}`;
  return [place, amount(expanded), amount(least), amount(wanted), standing, [largest === null ? '' : labelOf(largest), advice].filter((text) => text !== '').join(': ')];
}

function printForecast(file: string, name: string, { hours, points, cells, others }: Forecast): void {
  say(`${file} (${name}): about ${hours.toFixed(2)} h of bench time, ${points} points.`);
  const rows = cells.map((cell) => [
    `${cell.voltage} V, ${cell.pressure / 1e3} kPa`, us(cell.expanded), us(cell.least), us(cell.wanted), reach(cell), cell.largest === null ? '' : `${cell.largest}: without it ${us(cell.without)}`,
  ]);
  say(...columnLines([['', 'U95', 'instruments alone', 'wanted', '', 'largest part that no window takes off'], ...rows, ...others.map(otherRow)], 'left', widthOf(process.stdout, Number.POSITIVE_INFINITY)), '');
}

export function addForecastCommand(program: Command): void {
  withJsonOption(program.command('forecast'))
    .description('expected hours and U95 of each dead time of one plan or several, and which target instruments keep from being reached')
    .argument('<plans...>', 'plan files; - is standard input')
    .addOption(equipmentOption())
    .action((files: readonly string[], options: { equipment?: string; json?: true }) => {
      const equipment = equipmentFor(options);
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
