/** Holds a measuring window against the plan's limits: one criterion per rule, all of them always evaluated. */
import type { BenchCapabilities } from '../bench/port.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { pairEdges, zeroWindow } from '../plan/zero.ts';
import type { ZeroPlan } from '../plan/zero.ts';
import { toCelsius, toKilopascals } from '../quantities/quantity.ts';
import type { Criterion } from '../journal/events.ts';
import { around, held } from './criterion.ts';
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
    case 'invariance':
    case 'blind':
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
  return [
    // At twice the period half the edges come in the time of the window that it is held against (PLAN-44).
    held('RUN-60', 'edges', window.edges, pairEdges(plan.window.minEdges, point.role), null),
    held('RUN-61', 'length', duration, plan.window.minS, null),
    ...conditionCriteria(window, point, accept),
    held('RUN-67', 'halvesDifference', halvesDifference(window.partRates), null, accept.halvesPercent),
    framesCriterion(window, accept),
    held('RUN-69', 'pulses', window.pulses, ...around(duration / point.period, pulsesAllowed(window, point, capabilities))),
  ];
}

function zeroCriteria(window: WindowSummary, point: Point, plan: Pick<Plan, 'accept'> & ZeroPlan): readonly Criterion[] {
  const duration = window.to - window.from;
  const [first = 0, second = 0] = window.partRates.map((rate) => (rate * duration) / 2);
  // Each half is a whole number of edges, so two of them may fall on either side by chance alone.
  const allowed = 2 + (plan.accept.halvesPercent / 100) * window.edges;
  return [
    held('RUN-61', 'length', duration, zeroWindow(plan), null),
    ...conditionCriteria(window, point, plan.accept),
    framesCriterion(window, plan.accept),
    held('RUN-105', 'pulses', window.pulses, null, 0),
    held('RUN-106', 'halvesEdges', Math.abs(first - second), null, allowed),
  ];
}

function conditionCriteria(window: WindowSummary, point: Point, accept: Plan['accept']): readonly Criterion[] {
  const { temperatureMinC: low, temperatureMaxC: high } = accept;
  return [
    held('RUN-62', 'pressure', toKilopascals(window.pressure.mean), ...around(toKilopascals(point.pressure), accept.pressureKpa)),
    held('RUN-63', 'pressureScatter', window.pressure.sd / 1e3, null, accept.pressureSdKpa),
    held('RUN-64', 'supply', window.supply.mean, ...around(point.voltage, accept.supplyV)),
    held('RUN-65', 'railTemperature', toCelsius(window.railTemperature.mean), low, high),
    held('RUN-66', 'meterTemperature', toCelsius(window.meterTemperature.mean), low, high),
  ];
}

function framesCriterion(window: WindowSummary, accept: Plan['accept']): Criterion {
  return held('RUN-68', 'missingFrames', (100 * window.missingFrames) / (window.frames + window.missingFrames), null, accept.missingFramesPercent);
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
