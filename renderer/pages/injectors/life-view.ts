/** The life of an injector in words and as a file. WIN-64 */
import type { AnswerTo } from '../../../app/contract/contract.ts';
import { plain } from '../../../app/quantities/figures.ts';
import { shownQuantities } from '../../../app/results/agreement.ts';
import { csvText } from '../results/match-view.ts';
import { quantityText } from '../../settings/quantities.ts';

export type Life = AnswerTo<'injector.life'>;
export type ShownPlace = Life['places'][number];

/** `Dead time, 14 V, 400 kPa, 20 ms` */
export function placeText({ quantity, voltage, pressure, period }: Pick<ShownPlace, 'quantity' | 'voltage' | 'pressure' | 'period'>): string {
  const { name } = shownQuantities[quantity];
  return [`${name.charAt(0).toUpperCase()}${name.slice(1)}`, `${plain(voltage)} V`, quantityText(pressure / 1e3, 'kPa'), ...(period === 0 ? [] : [`${plain(period * 1e3)} ms`])].join(', ');
}

/** One row for each run and place. */
export function lifeCsv(serialNumber: string, { runs, places }: Life): string {
  const heads = ['injector', 'run', 'run_began_utc', 'order', 'plan', 'traceable', 'quantity', 'unit', 'supply_V', 'pressure_kPa', 'P_ms', 'value', 'U95', 'change_since_first', 'change_U95'];
  const rows = places.flatMap(({ quantity, voltage, pressure, period, results }) => {
    const { name, unit, factor } = shownQuantities[quantity];
    return results.map(({ run, value, expanded, change }) => {
      const about = runs.find((one) => one.run === run);
      return [
        serialNumber, run, about === undefined ? '' : new Date(about.at).toISOString(), about?.order ?? '', about?.planName ?? '', about?.traceable === false ? 'no' : 'yes', name, unit, voltage, pressure / 1e3,
        period === 0 ? '' : period * 1e3, value * factor, expanded * factor, change === null ? '' : change.value * factor, change === null ? '' : change.expanded * factor,
      ];
    });
  });
  return [heads, ...rows].map((row) => row.map(csvText).join(',')).join('\r\n').concat('\r\n');
}
