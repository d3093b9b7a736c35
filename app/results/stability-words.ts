/** How the stability of a held point is called and said, on pages and in commands. */
import { trueMinus } from '../quantities/figures.ts';
import type { AllanRow } from '../statistics/allan.ts';
import type { StabilitySignal } from './stability-signals.ts';
import type { SignalStability } from './stability.ts';

interface Words {
  readonly name: string;
  readonly unit: string;
  /** Shown value = value times this. */
  readonly times: number;
}

/** How a signal is called and shown. */
export const stabilityWords: Readonly<Record<StabilitySignal, Words>> = {
  mass: { name: 'Mass per pulse', unit: '%', times: 100 },
  pressure: { name: 'Rail pressure', unit: 'Pa', times: 1 },
  supply: { name: 'Supply', unit: 'mV', times: 1e3 },
  railTemperature: { name: 'Rail temperature', unit: 'mK', times: 1e3 },
  meterTemperature: { name: 'Meter temperature', unit: 'mK', times: 1e3 },
};

export const noiseWords: Readonly<Record<AllanRow['noise'], string>> = { resolution: 'resolution', white: 'white', flicker: 'flicker', walk: 'random walk' };

const two = (value: number): string => Number(value.toPrecision(2)).toString();

/** Up to where averaging pays, as a sentence; of the mass with what that means for windows. */
export function paysSentence({ signal, rows, pays }: SignalStability): string {
  const last = rows.at(-1)?.time ?? 0;
  if (pays === null) return 'The record is too short to tell up to where averaging pays.';
  if (pays.time === null) return `Averaging pays as far as the record tells: up to ${two(last)} s at least${pays.low === null ? '' : ` (by the 95 % intervals perhaps up to ${two(pays.low)} s only)`}.`;
  const range = pays.high === null ? (pays.low === null ? '' : ` (from ${two(pays.low)} s on, by the 95 % intervals)`) : ` (${two(pays.low ?? pays.time)} to ${two(pays.high)} s by the 95 % intervals)`;
  const beyond = signal === 'mass' ? ', and one more window elsewhere in the run is worth more than a longer one' : ': it wanders';
  return `Averaging pays up to about ${two(pays.time)} s${range}. Beyond, half of the variance or more does not average away${beyond}.`;
}

/** The steady drift, as a sentence. */
export function driftSentence({ signal, drift }: SignalStability): string {
  if (drift === null) return 'The record is too short to tell a drift.';
  const { unit, times } = stabilityWords[signal];
  const [perHour, expanded] = [drift.perSecond * 3600 * times, drift.expanded * 3600 * times];
  return `Drift: (${trueMinus(two(perHour))} ± ${two(expanded)}) ${unit}/h${drift.called ? ', more than noise and a random walk explain' : ', no more than noise or a random walk explain'}.`;
}
