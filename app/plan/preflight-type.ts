/** Lines PRE-64 and PRE-65 of the sheet: what the injectors of a plan are made for, by their types. */
import { toKilopascals, toMilliseconds } from '../quantities/quantity.ts';
import { ofType } from './of-type.ts';
import type { TypeOfPlan } from './of-type.ts';
import type { Plan } from './plan.ts';
import type { Point } from './points.ts';
import type { PreflightLine } from './preflight-line.ts';

type Finding = Omit<PreflightLine, 'rule'>;

/** Set points and limits are decimal numbers that went through SI units: the last bits must not decide. */
const slack = 1e-9;

/** By rule. `points` is the expansion of the plan; purge pulses count as set points of every injector. */
export function typeFindings(plan: Plan, points: readonly Point[]): Readonly<Record<'PRE-64' | 'PRE-65', Finding>> {
  return { 'PRE-64': limits(plan, points), 'PRE-65': drives(plan) };
}

interface Limited {
  readonly what: string;
  readonly unit: string;
  readonly min: number | undefined;
  readonly max: number | undefined;
  readonly values: readonly number[];
}

function limits(plan: Plan, points: readonly Point[]): Finding {
  const types = [...new Set(plan.injectors.map(({ type }) => type))];
  const beyond: string[] = [];
  const limited: string[] = [];
  for (const type of types) {
    const of = ofType(plan, type);
    const checked = of === undefined ? [] : ofOneType(of, plan, points.filter((p) => p.role !== 'zero' && plan.injectors[p.injector]?.type === type)).filter(({ min, max }) => min !== undefined || max !== undefined);
    if (checked.length > 0) limited.push(type);
    const out = checked.flatMap(outside);
    if (out.length > 0) beyond.push(`${type}: ${out.join(', ')}`);
  }
  if (beyond.length > 0) {
    return { result: 'warn', text: `The plan goes beyond what its injectors are made for. ${beyond.join('. ')}. Results there may not repeat, and the injector may be damaged: correct the plan, or what it states of the type.` };
  }
  if (limited.length === 0) return { result: 'pass', text: 'No limits of voltage, pressure, width or duty are stated of the types of this plan.' };
  const [others, are] = [types.filter((type) => !limited.includes(type)), limited.join(', ')];
  return { result: 'pass', text: `Every set point lies within what is stated of ${are}${others.length === 0 ? '' : `; of ${others.join(', ')} no limits are stated`}.` };
}

function ofOneType(of: TypeOfPlan, plan: Plan, points: readonly Point[]): readonly Limited[] {
  const pulsed = points.filter((p) => p.width < p.period);
  const purged = plan.purge.pulses > 0;
  const { widthMs, periodMs } = plan.purge;
  return [
    { what: 'supply', unit: 'V', min: of.minVoltageV, max: of.maxVoltageV, values: points.map((p) => p.voltage) },
    { what: 'pressure', unit: 'kPa', min: of.minPressureKpa, max: of.maxPressureKpa, values: points.map((p) => toKilopascals(p.pressure)) },
    // An injector that is held open has no pulse width.
    { what: 'pulse width', unit: 'ms', min: of.minWidthMs, max: of.maxWidthMs, values: [...pulsed.map((p) => toMilliseconds(p.width)), ...(purged ? [widthMs] : [])] },
    { what: 'duty', unit: '%', min: undefined, max: of.maxDutyPercent, values: [...points.map((p) => (100 * p.width) / p.period), ...(purged ? [(100 * widthMs) / periodMs] : [])] },
  ];
}

function outside({ what, unit, min, max, values }: Limited): readonly string[] {
  const [least, most] = [Math.min(...values), Math.max(...values)];
  return [
    ...(min !== undefined && least < min * (1 - slack) ? [`${what} down to ${shown(least)} ${unit}, ${min} ${unit} at least`] : []),
    ...(max !== undefined && most > max * (1 + slack) ? [`${what} up to ${shown(most)} ${unit}, ${max} ${unit} at most`] : []),
  ];
}

function drives(plan: Plan): Finding {
  const otherwise = [...new Set(plan.injectors.map(({ type }) => type))].filter((type) => ofType(plan, type)?.drive === 'peak-and-hold');
  return otherwise.length === 0
    ? { result: 'pass', text: 'No type of this plan needs another drive than a saturated switch.' }
    : {
        result: 'warn',
        text: `${otherwise.join(', ')} ${otherwise.length === 1 ? 'is' : 'are'} meant for a peak-and-hold drive, and a bench holds the coil at the full supply for the whole pulse: a coil of low resistance gets too warm, and its dead time is not that of its own drive. Make sure of the current first, with a resistor in series where it is needed.`,
      };
}

const shown = (value: number): string => String(Number(value.toPrecision(6)));
