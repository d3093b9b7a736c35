/** From a document to a plan: the schema, then the rules between fields (PLAN-20 to PLAN-29 in README.md). */
import { guardSignals } from '../bench/guard-signals.ts';
import { pathText, problemsOf } from '../boundary/problems.ts';
import type { Problem } from '../boundary/problems.ts';
import { countPoints } from './expand.ts';
import { hasLook, lookSetPoint } from './look.ts';
import { typeProblems } from './of-type.ts';
import { planSchema } from './plan.ts';
import type { Plan } from './plan.ts';

export type PlanParsed =
  | { readonly ok: true; readonly plan: Plan }
  | { readonly ok: false; readonly problems: readonly Problem[] };

/** More points than this are a slip of the pen: at two seconds each they would take five days. */
const maxPoints = 200_000;

/** A plan with its defaults filled in, or everything that is wrong with the document. */
export function parsePlan(input: unknown): PlanParsed {
  const parsed = planSchema.safeParse(input);
  if (!parsed.success) return { ok: false, problems: problemsOf(parsed.error, input) };
  const problems = betweenFields(parsed.data);
  return problems.length > 0 ? { ok: false, problems } : { ok: true, plan: parsed.data };
}

// eslint-disable-next-line max-lines-per-function -- a list of independent checks, one after the other
function betweenFields(plan: Plan): readonly Problem[] {
  const problems: Problem[] = [];
  const add = (path: readonly PropertyKey[], text: string) => {
    problems.push({ path: pathText(path), text });
  };

  const once = <T>(list: readonly T[], key: (item: T) => number | string, path: (index: number) => readonly PropertyKey[], text: (item: T, first: number) => string) => {
    const seen = new Map<number | string, number>();
    list.forEach((item, index) => {
      const first = seen.get(key(item));
      if (first === undefined) seen.set(key(item), index);
      else add(path(index), text(item, first));
    });
  };
  once(
    plan.injectors,
    (injector) => injector.serialNumber,
    (index) => ['injectors', index, 'serialNumber'],
    ({ serialNumber }, first) => `Serial number ${serialNumber} is already that of injector ${first + 1} of the list. Each injector is listed once.`,
  );
  once(
    plan.injectors,
    (injector) => injector.channel,
    (index) => ['injectors', index, 'channel'],
    ({ channel }, first) => `Channel ${channel} already drives injector ${first + 1} of the list. Each injector needs its own channel.`,
  );
  once(
    plan.guards,
    (guard) => guard.id,
    (index) => ['guards', index, 'id'],
    ({ id }, first) => `The id ${id} is already that of guard ${first + 1}. Each guard needs its own.`,
  );
  once(
    plan.types ?? [],
    ({ type }) => type,
    (index) => ['types', index, 'type'],
    ({ type }, first) => `The type ${type} is already that of type ${first + 1} of the list. Each type is listed once.`,
  );
  problems.push(...ofTypes(plan), ...ofTargets(plan));
  for (const { axis, unit, stepsPerUnit, step } of axisSteps) {
    once(
      plan.axes[axis],
      (value) => Math.round(value * stepsPerUnit),
      (index) => ['axes', axis, index],
      (value, first) => `${value} ${unit} is the same as value ${first + 1} to the bench, which tells ${step} apart. Each value is listed once.`,
    );
  }

  const duty = (path: readonly PropertyKey[], widthMs: number, periodMs: number) => {
    const percent = (100 * widthMs) / periodMs;
    if (percent > 100 * (1 + 1e-9)) {
      add(path, `A pulse of ${widthMs} ms does not fit into a period of ${periodMs} ms: the duty would be ${percent.toFixed(1)} %. Make the period longer or the pulse shorter.`);
    } else if (percent > plan.limits.dutyPercent * (1 + 1e-9)) {
      // 2.295 ms in 2.7 ms is 85 % to a person; the last bits of the quotient must not decide.
      add(path, `A pulse of ${widthMs} ms in a period of ${periodMs} ms is a duty of ${percent.toFixed(1)} %, more than limits.dutyPercent allows (${plan.limits.dutyPercent} %). Make the period longer or the pulse shorter.`);
    }
  };
  const shortestPeriod = Math.min(...plan.axes.periodMs);
  plan.axes.widthMs.forEach((width, index) => duty(['axes', 'widthMs', index], width, shortestPeriod));
  if (plan.purge.pulses > 0) duty(['purge', 'widthMs'], plan.purge.widthMs, plan.purge.periodMs);

  if (plan.reference !== undefined) {
    const { injector, widthMs, periodMs } = plan.reference;
    if (!plan.injectors.some(({ serialNumber }) => serialNumber === injector)) {
      add(['reference', 'injector'], `Serial number ${injector} is not in the list of injectors. Name one that is mounted.`);
    }
    duty(['reference', 'widthMs'], widthMs, periodMs);
  }

  if (plan.reduction.driftCorrection === 'reference' && plan.reference === undefined) {
    add(['reduction', 'driftCorrection'], 'What the bench drifts is to be taken off by the reference point, but the plan has none. Give it a reference, or let the drift stand in the uncertainties.');
  }

  if (hasLook(plan)) {
    const { widthsMs: [, shorter = 0, longer = 0], periodMs } = lookSetPoint(plan);
    duty(['look', 'longMs'], longer, periodMs);
    if (shorter >= longer) {
      add(['look', 'shortMs'], `The first look needs two widths: the shorter (${shorter} ms) must be below the longer (${longer} ms).`);
    }
  }

  plan.guards.forEach((guard, index) => {
    if (guard.low !== undefined && guard.high !== undefined && guard.low + guard.hysteresis > guard.high - guard.hysteresis) {
      const unit = guardSignals[guard.signal].plain;
      add(['guards', index, 'hysteresis'], `With a hysteresis of ± ${guard.hysteresis} ${unit} the guard ${guard.id} could never clear between ${guard.low} and ${guard.high} ${unit}. Make it smaller.`);
    }
  });
  for (const part of ['condition', 'accept'] as const) {
    const { temperatureMinC, temperatureMaxC } = plan[part];
    if (temperatureMinC >= temperatureMaxC) {
      add([part, 'temperatureMinC'], `The lowest temperature (${temperatureMinC} degC) must be below the highest (${temperatureMaxC} degC).`);
    }
  }
  if (plan.window.minS > plan.window.maxS) {
    add(['window', 'minS'], `The shortest window (${plan.window.minS} s) must not be longer than the longest (${plan.window.maxS} s).`);
  }
  for (const part of ['supply', 'condition'] as const) {
    const { steadyS, timeoutS } = plan[part];
    if (steadyS >= timeoutS) {
      add([part, 'steadyS'], `The value must stay steady for ${steadyS} s, but the wait is given up after ${timeoutS} s. Wait longer, or ask for less.`);
    }
  }

  const points = countPoints(plan);
  const total = points.measure + points.reference + points.held + points.zero + points.pair + points.invariance + points.blind + points.look;
  if (total > maxPoints) {
    add(['axes'], `The axes multiply to ${total} points; a plan may have ${maxPoints}. Shorten an axis or split the plan.`);
  }
  return problems;
}

/** Fewer widths leave nothing to be chosen among: a line begins with four, and two of them tell where it ends. */
const fewestPlaces = 6;

/** PLAN-92, PLAN-99, PLAN-100, PLAN-102, PLAN-104 */
function ofTargets({ targets, axes, injectors, static: held }: Plan): readonly Problem[] {
  if (targets === undefined) return [];
  const at = (path: readonly PropertyKey[], text: string): Problem => ({ path: pathText(['targets', ...path]), text });
  const { deadTimeUs, atVoltage, slopePercent, staticFlowPercent, map, spend } = targets;
  return [
    ...(spend !== 'all-hours' && deadTimeUs === undefined && atVoltage.length === 0 && slopePercent === undefined && staticFlowPercent === undefined && map === undefined ? [at(['deadTimeUs'], 'The plan states targets and none of them wants anything. Say which U95 is wanted: of dead times, of slopes, of static flows, or of the cells of a map; or that all hours are spent.')] : []),
    ...(staticFlowPercent !== undefined && held.replicates < 2 ? [at(['staticFlowPercent'], 'How windows with an injector held open scatter is told by two of them at least. Set static.replicates to 2 or more.')] : []),
    ...(map === undefined ? [] : ofMap(map).map(({ path, text }) => at(['map', ...path], text))),
    ...atEachVoltage(targets.atVoltage, axes.voltageV, 'axes.voltageV. A target belongs to a voltage that is measured', 'a target').map(({ path, text }) => at(path, text)),
    ...targets.known.flatMap(({ type, pressureKpa, deadTimes }, index): readonly Problem[] => [
      ...(injectors.some((i) => i.type === type) ? [] : [at(['known', index, 'type'], `No injector of the plan is of type ${type}.`)]),
      ...(axes.pressureKpa.includes(pressureKpa) ? [] : [at(['known', index, 'pressureKpa'], `${pressureKpa} kPa is none of the rail pressures of the plan.`)]),
      ...(targets.known.findIndex((k) => k.type === type && k.pressureKpa === pressureKpa) < index ? [at(['known', index, 'type'], `What is known of ${type} at ${pressureKpa} kPa is stated already.`)] : []),
      ...(new Set(deadTimes.map((d) => d.voltageV)).size < deadTimes.length ? [at(['known', index, 'deadTimes'], 'Each voltage is listed once.')] : []),
    ]),
    ...(axes.widthMs.length < fewestPlaces ? [at([], `The schedule chooses among the widths of axes.widthMs, and ${axes.widthMs.length} are too few. Give ${fewestPlaces} at least, down to where lines are thought to end.`)] : []),
  ];
}

/** A problem inside of the targets. */
interface Within {
  readonly path: readonly PropertyKey[];
  readonly text: string;
}

/** PLAN-92, PLAN-102: each target belongs to one of the voltages `among`, and no two to the same. `whose`: these voltages in words; `what`: the target. */
function atEachVoltage(atVoltage: readonly { readonly voltageV: number }[], among: readonly number[], whose: string, what: string): readonly Within[] {
  return atVoltage.flatMap(({ voltageV }, index) => {
    const path = ['atVoltage', index, 'voltageV'];
    if (!among.includes(voltageV)) return [{ path, text: `${voltageV} V is none of the voltages of ${whose}.` }];
    return atVoltage.findIndex((t) => t.voltageV === voltageV) < index ? [{ path, text: `There is ${what} at ${voltageV} V already. Each voltage is listed once.` }] : [];
  });
}

/** PLAN-102 */
function ofMap({ voltageV, pressureKpa, atVoltage = [] }: NonNullable<NonNullable<Plan['targets']>['map']>): readonly Within[] {
  const twice = (axis: 'voltageV' | 'pressureKpa', values: readonly number[]) =>
    values.flatMap((value, index) => (values.findIndex((v) => Math.round(v * 1e3) === Math.round(value * 1e3)) < index ? [{ path: [axis, index], text: `${value} ${axis === 'voltageV' ? 'V' : 'kPa'} is listed already. Each place of the map is listed once.` }] : []));
  return [
    ...twice('voltageV', voltageV),
    ...twice('pressureKpa', pressureKpa),
    ...atEachVoltage(atVoltage, voltageV, 'the map', 'a target of the map'),
  ];
}

/** PLAN-86, PLAN-96 */
function ofTypes({ types = [], injectors }: Plan): readonly Problem[] {
  return types.flatMap((of, index): readonly Problem[] => [
    ...(injectors.some(({ type }) => type === of.type)
      ? []
      : [{ path: pathText(['types', index, 'type']), text: `No injector of this plan is of the type ${of.type}. Write it as in the list of injectors, or leave it out.` }]),
    ...typeProblems(of).map(({ path, text }) => ({ path: pathText(['types', index, path]), text })),
  ]);
}

/** The finest step that the line to the bench can express on each axis: closer values would be the same measurement. */
const axisSteps = [
  { axis: 'voltageV', unit: 'V', stepsPerUnit: 1e3, step: '1 mV' },
  { axis: 'pressureKpa', unit: 'kPa', stepsPerUnit: 1e3, step: '1 Pa' },
  { axis: 'widthMs', unit: 'ms', stepsPerUnit: 1e6, step: '1 ns' },
  { axis: 'periodMs', unit: 'ms', stepsPerUnit: 1e3, step: '1 us' },
] as const;
