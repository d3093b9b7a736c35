/** Holds a measuring window against the plan's limits: one criterion per rule, all of them always evaluated. */
import type { BenchCapabilities } from '../bench/port.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { pairEdges, zeroWindow } from '../plan/zero.ts';
import type { ZeroPlan } from '../plan/zero.ts';
import { toCelsius, toKilopascals } from '../quantities/quantity.ts';
import type { Kelvins } from '../quantities/quantity.ts';
import type { Criterion } from '../journal/events.ts';
import { lookCriteria } from './look.ts';
import type { WindowSummary } from '../journal/measured.ts';

export interface Judgement {
  readonly verdict: 'accepted' | 'rejected';
  readonly criteria: readonly Criterion[];
  /** The verdict in a sentence, with what failed. */
  readonly text: string;
}

/** Criteria RUN-60 to RUN-69 of README.md beside this file, and `more` that is known from outside the window; of a first look RUN-135; of a zero point those that it can keep, and RUN-105, RUN-106. */
export function judge(
  window: WindowSummary,
  point: Point,
  plan: Pick<Plan, 'accept' | 'window' | 'look'> & ZeroPlan,
  capabilities: Pick<BenchCapabilities, 'timerResolution'>,
  more: readonly Criterion[] = [],
): Judgement {
  const criteria = [...criteriaOf(window, point, plan, capabilities), ...more];
  const failed = criteria.filter((criterion) => !criterion.passed);
  return failed.length === 0
    ? { verdict: 'accepted', criteria, text: 'The window kept every limit of the plan.' }
    : { verdict: 'rejected', criteria, text: `The window did not keep the limits of the plan: ${failed.map((f) => f.text).join('; ')}.` };
}

/** What rounding of the period to the controller's timer explains of a difference in pulses, and two for the ends. */
const pulsesAllowed = (window: WindowSummary, { period }: Point, { timerResolution }: Pick<BenchCapabilities, 'timerResolution'>): number =>
  2 + ((window.to - window.from) / period) * (timerResolution / period);

function criteriaOf(window: WindowSummary, point: Point, plan: Parameters<typeof judge>[2], capabilities: Pick<BenchCapabilities, 'timerResolution'>): readonly Criterion[] {
  switch (point.role) {
    case 'zero':
      return zeroCriteria(window, point, plan);
    case 'look':
      return lookCriteria(window, point, plan, pulsesAllowed(window, point, capabilities));
    case 'measure':
    case 'reference':
    case 'static':
    case 'pair':
      return drivenCriteria(window, point, plan, capabilities);
  }
}

function drivenCriteria(
  window: WindowSummary,
  point: Point,
  plan: Pick<Plan, 'accept' | 'window'>,
  capabilities: Pick<BenchCapabilities, 'timerResolution'>,
): readonly Criterion[] {
  const { accept } = plan;
  const duration = window.to - window.from;
  // At twice the period half the edges come in the time of the window that it is held against (PLAN-44).
  const minEdges = pairEdges(plan.window.minEdges, point.role);
  const halves = halvesDifference(window.partRates);
  const pulses = duration / point.period;
  const allowed = pulsesAllowed(window, point, capabilities);
  return [
    criterion('RUN-60', window.edges >= minEdges, `${window.edges} meter edges, at least ${minEdges} wanted`),
    lengthCriterion(duration, plan.window.minS),
    ...conditionCriteria(window, point, accept),
    criterion(
      'RUN-67',
      halves !== null && halves <= accept.halvesPercent,
      halves === null
        ? 'too few edges to compare the halves of the window'
        : `flow of the two halves differs by ${halves.toFixed(2)} %, at most ${accept.halvesPercent} % allowed`,
    ),
    framesCriterion(window, accept),
    criterion(
      'RUN-69',
      Math.abs(window.pulses - pulses) <= allowed,
      `the controller counted ${window.pulses} pulses in ${duration.toFixed(2)} s, ${pulses.toFixed(1)} were due`,
    ),
  ];
}

function zeroCriteria(window: WindowSummary, point: Point, plan: Pick<Plan, 'accept'> & ZeroPlan): readonly Criterion[] {
  const duration = window.to - window.from;
  const [first = 0, second = 0] = window.partRates.map((rate) => (rate * duration) / 2);
  // Each half is a whole number of edges, so two of them may fall on either side by chance alone.
  const allowed = 2 + (plan.accept.halvesPercent / 100) * window.edges;
  return [
    lengthCriterion(duration, zeroWindow(plan)),
    ...conditionCriteria(window, point, plan.accept),
    framesCriterion(window, plan.accept),
    criterion('RUN-105', window.pulses === 0, `the controller counted ${window.pulses} pulses, none were due`),
    criterion(
      'RUN-106',
      Math.abs(first - second) <= allowed,
      `${first.toFixed(0)} meter edges in the first half of the window and ${second.toFixed(0)} in the second, a difference of ${allowed.toFixed(1)} allowed`,
    ),
  ];
}

const criterion = (rule: string, passed: boolean, text: string): Criterion => ({ rule, passed, text });

function lengthCriterion(duration: number, wanted: number): Criterion {
  return criterion('RUN-61', duration >= wanted, `${duration.toFixed(2)} s long, at least ${wanted} s wanted`);
}

function conditionCriteria(window: WindowSummary, point: Point, accept: Plan['accept']): readonly Criterion[] {
  const pressure = toKilopascals(window.pressure.mean);
  const wanted = toKilopascals(point.pressure);
  const pressureSd = window.pressure.sd / 1e3;
  return [
    criterion(
      'RUN-62',
      Math.abs(pressure - wanted) <= accept.pressureKpa,
      `rail pressure ${pressure.toFixed(2)} kPa on average, ${wanted} kPa +/- ${accept.pressureKpa} kPa wanted`,
    ),
    criterion('RUN-63', pressureSd <= accept.pressureSdKpa, `rail pressure scattered by ${pressureSd.toFixed(2)} kPa (standard deviation), at most ${accept.pressureSdKpa} kPa allowed`),
    criterion(
      'RUN-64',
      Math.abs(window.supply.mean - point.voltage) <= accept.supplyV,
      `supply ${window.supply.mean.toFixed(3)} V on average, ${point.voltage} V +/- ${accept.supplyV} V wanted`,
    ),
    criterion('RUN-65', isWithin(window.railTemperature.mean, accept), temperatureText('rail', window.railTemperature.mean, accept)),
    criterion('RUN-66', isWithin(window.meterTemperature.mean, accept), temperatureText('meter', window.meterTemperature.mean, accept)),
  ];
}

function framesCriterion(window: WindowSummary, accept: Plan['accept']): Criterion {
  const missing = (100 * window.missingFrames) / (window.frames + window.missingFrames);
  return criterion('RUN-68', missing <= accept.missingFramesPercent, `${missing.toFixed(1)} % of the telemetry frames missing, at most ${accept.missingFramesPercent} % allowed`);
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
