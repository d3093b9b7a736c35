/** Holds a measuring window against the plan's limits: one criterion per rule, all of them always evaluated. */
import type { BenchCapabilities } from '../bench/port.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { toCelsius, toKilopascals } from '../quantities/quantity.ts';
import type { Kelvins } from '../quantities/quantity.ts';
import type { Criterion } from './events.ts';
import type { WindowSummary } from './window.ts';

export interface Judgement {
  readonly verdict: 'accepted' | 'rejected';
  readonly criteria: readonly Criterion[];
  /** The verdict in a sentence, with what failed. */
  readonly text: string;
}

/** Criteria RUN-60 to RUN-69 of README.md beside this file. */
export function judge(
  window: WindowSummary,
  point: Point,
  plan: Pick<Plan, 'accept' | 'window'>,
  capabilities: Pick<BenchCapabilities, 'timerResolution'>,
): Judgement {
  const { accept } = plan;
  const criteria: Criterion[] = [];
  const hold = (rule: string, passed: boolean, text: string): void => {
    criteria.push({ rule, passed, text });
  };

  hold('RUN-60', window.edges >= plan.window.minEdges, `${window.edges} meter edges, at least ${plan.window.minEdges} wanted`);

  const duration = window.to - window.from;
  hold('RUN-61', duration >= plan.window.minS, `${duration.toFixed(2)} s long, at least ${plan.window.minS} s wanted`);

  const pressure = toKilopascals(window.pressure.mean);
  const wanted = toKilopascals(point.pressure);
  hold(
    'RUN-62',
    Math.abs(pressure - wanted) <= accept.pressureKpa,
    `rail pressure ${pressure.toFixed(2)} kPa on average, ${wanted} kPa +/- ${accept.pressureKpa} kPa wanted`,
  );

  const pressureSd = window.pressure.sd / 1e3;
  hold('RUN-63', pressureSd <= accept.pressureSdKpa, `rail pressure scattered by ${pressureSd.toFixed(2)} kPa (standard deviation), at most ${accept.pressureSdKpa} kPa allowed`);

  hold(
    'RUN-64',
    Math.abs(window.supply.mean - point.voltage) <= accept.supplyV,
    `supply ${window.supply.mean.toFixed(3)} V on average, ${point.voltage} V +/- ${accept.supplyV} V wanted`,
  );

  hold('RUN-65', isWithin(window.railTemperature.mean, accept), temperatureText('rail', window.railTemperature.mean, accept));
  hold('RUN-66', isWithin(window.meterTemperature.mean, accept), temperatureText('meter', window.meterTemperature.mean, accept));

  const halves = halvesDifference(window.partRates);
  hold(
    'RUN-67',
    halves !== null && halves <= accept.halvesPercent,
    halves === null
      ? 'too few edges to compare the halves of the window'
      : `flow of the two halves differs by ${halves.toFixed(2)} %, at most ${accept.halvesPercent} % allowed`,
  );

  const missing = (100 * window.missingFrames) / (window.frames + window.missingFrames);
  hold('RUN-68', missing <= accept.missingFramesPercent, `${missing.toFixed(1)} % of the telemetry frames missing, at most ${accept.missingFramesPercent} % allowed`);

  const pulses = duration / point.period;
  const allowed = 2 + pulses * (capabilities.timerResolution / point.period);
  hold(
    'RUN-69',
    Math.abs(window.pulses - pulses) <= allowed,
    `the controller counted ${window.pulses} pulses in ${duration.toFixed(2)} s, ${pulses.toFixed(1)} were due`,
  );

  const failed = criteria.filter((criterion) => !criterion.passed);
  return failed.length === 0
    ? { verdict: 'accepted', criteria, text: 'The window kept every limit of the plan.' }
    : { verdict: 'rejected', criteria, text: `The window did not keep the limits of the plan: ${failed.map((f) => f.text).join('; ')}.` };
}

function isWithin(temperature: Kelvins, limits: { readonly temperatureMinC: number; readonly temperatureMaxC: number }): boolean {
  const celsius = toCelsius(temperature);
  return celsius >= limits.temperatureMinC && celsius <= limits.temperatureMaxC;
}

function temperatureText(place: string, temperature: Kelvins, limits: { readonly temperatureMinC: number; readonly temperatureMaxC: number }): string {
  return `fluid in the ${place} at ${toCelsius(temperature).toFixed(2)} degC on average, ${limits.temperatureMinC} to ${limits.temperatureMaxC} degC wanted`;
}

/** Difference of the mean rates of first and second half over the mean of both, percent; an odd part in the middle is left out. */
function halvesDifference(rates: readonly number[]): number | null {
  const half = Math.floor(rates.length / 2);
  if (half === 0) return null;
  let first = 0;
  let second = 0;
  for (let i = 0; i < half; i += 1) {
    first += rates[i] ?? Number.NaN;
    second += rates[rates.length - 1 - i] ?? Number.NaN;
  }
  return (200 * Math.abs(second - first)) / (first + second);
}
