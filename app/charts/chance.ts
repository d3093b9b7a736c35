/** How often chance alone gives a signal: CH-10. */
import { normals } from '../statistics/normals.ts';
import { individualsChart, type ChartSettings } from './individuals-chart.ts';

/** Histories that are drawn; the answer is known to 1.6 % (one standard deviation) at worst. */
const histories = 1000;

/**
 * Part of the histories of `runs` normal values of a bench that does not change which give at least one signal by these settings, the baseline's
 * own included; neighbours correlated as given (0: independent). Drawn, and the same every time.
 */
export function chanceOfSignal(settings: ChartSettings, runs: number, correlation: number): number {
  const normal = normals(20_260_301);
  const fresh = Math.sqrt(1 - correlation * correlation);
  let signalling = 0;
  for (let i = 0; i < histories; i += 1) {
    let last = normal();
    const values = Array.from({ length: runs }, () => (last = correlation * last + fresh * normal()));
    const chart = individualsChart(values, settings);
    if (chart.kind === 'chart' && chart.signals.length > 0) signalling += 1;
  }
  return signalling / histories;
}
