/** The plan that somebody begins with who has none: a sweep that a lab would run, on the injectors that are mounted. */
import type { Part } from '../../../app/contract/library-requests.ts';
import { numberIn } from '../../settings/read-number.ts';
import { decimals } from '../../components/decimals.ts';
import { listText } from '../../components/value-list.ts';
import { typedFromStored, unitShown } from '../../settings/quantities.ts';
import { numberText } from './fields.ts';
import { templateFor } from '../../../app/type-record/fill.ts';
import { withinLimits } from '../../../app/type-record/within.ts';
import type { TypeRecord } from '../../../app/type-record/type-record.ts';
import { formOf } from './plan-form.ts';
import type { InjectorRow, PlanForm } from './plan-form.ts';
import { withRecords } from './types-of-form.ts';

type Mounted = Part & { readonly channel: number };

/** Parts on a driver channel, by channel. */
export function mountedParts(parts: readonly Part[]): readonly Mounted[] {
  return parts.filter((part): part is Mounted => part.channel !== null).toSorted((a, b) => a.channel - b.channel);
}

export function injectorRow(part: Mounted, key: number): InjectorRow {
  return {
    key,
    channel: String(part.channel),
    serialNumber: part.serialNumber,
    type: part.type,
    coilResistanceOhm: part.coilResistanceOhm === null ? '' : numberText(part.coilResistanceOhm),
  };
}

/**
 * Widths are close together where short pulses bend and wide apart on the line; the first lies above the dead time of a
 * saturated-switch port injector at 9 V. Limits of the guards: common practice, no source.
 */
const document = {
  planVersion: 1,
  name: 'New sweep',
  injectors: [],
  axes: {
    voltageV: [9, 10.5, 12, 14, 16],
    pressureKpa: [400],
    widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12],
    periodMs: [20],
    replicates: 3,
  },
  sequence: { kind: 'shuffled', seed: 1 },
  static: { replicates: 1, voltageV: 14, periodMs: 20 },
  supply: { toleranceV: 0.05, steadyS: 0.3, timeoutS: 20 },
  condition: { pressureToleranceKpa: 4, temperatureMinC: 15, temperatureMaxC: 30, steadyS: 0.5, timeoutS: 120 },
  purge: { pulses: 50, widthMs: 4, periodMs: 20 },
  settleS: 1,
  window: { minEdges: 120, minS: 2, maxS: 40 },
  accept: { pressureKpa: 4, pressureSdKpa: 2, supplyV: 0.05, temperatureMinC: 15, temperatureMaxC: 30, halvesPercent: 5, missingFramesPercent: 10 },
  repeats: { attemptsAtOnce: 2, attemptsSecondPass: 1 },
  guards: [
    { id: 'rail-pressure', signal: 'pressure-deviation-kpa', low: -12, high: 12, hysteresis: 4, dwellS: 0.5, level: 'hold', maxResumes: 3, clearS: 5 },
    { id: 'over-pressure', signal: 'pressure-kpa', high: 480, hysteresis: 10, dwellS: 0.5, level: 'trip' },
    { id: 'rail-too-warm', signal: 'rail-temperature-c', high: 32, hysteresis: 2, dwellS: 2, level: 'trip' },
    { id: 'meter-too-warm', signal: 'meter-temperature-c', high: 32, hysteresis: 2, dwellS: 2, level: 'trip' },
    { id: 'supply-off', signal: 'supply-deviation-v', low: -0.3, high: 0.3, hysteresis: 0.1, dwellS: 1, level: 'hold', maxResumes: 3, clearS: 5 },
    { id: 'over-current', signal: 'current-a', high: 4, hysteresis: 0.5, dwellS: 0.2, level: 'trip' },
    { id: 'leak', signal: 'idle-flow-ml-min', high: 1, hysteresis: 0.2, dwellS: 2, level: 'trip' },
  ],
  look: { windowS: 2, shortMs: 4, longMs: 9 },
  invariance: { pressurePercent: 2 },
  limits: { dutyPercent: 85 },
  link: { telemetryHz: 20, deadManMs: 1000 },
  reduction: { referenceC: 20, linearityPercent: 0.5, linearFlowRangePercent: 5, repeatabilityPercent: 1, slopeOverVoltage: 'tested' },
};

/** The usual sweep within the limits of types (EQ-24). */
function cutTo(types: readonly TypeRecord[]) {
  const { axes, static: held, purge, look, invariance } = document;
  const within = withinLimits(
    {
      ...axes, staticVoltageV: held.voltageV, staticReplicates: held.replicates, purgeWidthMs: purge.widthMs, purgePeriodMs: purge.periodMs,
      lookMs: [look.shortMs, look.longMs], pressurePercent: invariance.pressurePercent,
    },
    types,
  );
  const [shortMs, longMs] = within.lookMs ?? [];
  return {
    ...document,
    axes: { ...axes, voltageV: within.voltageV, pressureKpa: within.pressureKpa, widthMs: within.widthMs },
    static: { ...held, voltageV: within.staticVoltageV, replicates: within.staticReplicates },
    purge: { ...purge, widthMs: within.purgeWidthMs },
    look: shortMs === undefined || longMs === undefined ? { windowS: 0 } : { ...look, shortMs, longMs },
    invariance: { pressurePercent: within.pressurePercent },
  };
}

/** What is kept of the types that are mounted: their records, and the template that they share, if any. */
function knownOfMounted(parts: readonly Part[], records: readonly TypeRecord[]) {
  const used = mountedParts(parts).map(({ type }) => type);
  return { types: records.filter(({ type }) => used.includes(type)), template: templateFor(used, records) };
}

/** In the unit that is chosen. */
const amount = (values: readonly number[], unit: string): string => `${listText(values.map((value) => decimals(typedFromStored(unit, numberText(value)))))} ${unitShown(unit)}`;

/** What the values of one kind became, and the limits that did it; empty: nothing was cut. */
function axisCut(name: string, unit: string, usual: readonly number[], now: readonly number[], lows: readonly (number | undefined)[], highs: readonly (number | undefined)[]): string {
  const out = usual.filter((value) => !now.includes(value));
  if (out.length === 0) return '';
  const moved = now.filter((value) => !usual.includes(value));
  const [low, high] = [Math.max(...lows.flatMap((one) => one ?? [])), Math.min(...highs.flatMap((one) => one ?? []))];
  const limits = [Number.isFinite(low) ? `from ${amount([low], unit)}` : '', Number.isFinite(high) ? `up to ${amount([high], unit)}` : ''].filter((one) => one !== '').join(' ');
  return `${name}: ${moved.length > 0 ? `${amount(moved, unit)} in place of ${amount(out, unit)}` : `without ${amount(out, unit)}`}${limits === '' ? '' : ` (made for ${limits})`}`;
}

/** What of the usual sweep was left out for the limits of the types that are mounted, and which limits did it; in a sentence, empty: nothing (WIN-185). */
export function cutText(parts: readonly Part[], records: readonly TypeRecord[]): string {
  const { types, template } = knownOfMounted(parts, records);
  if (types.length === 0 || template !== null) return '';
  const now = cutTo(types);
  const duty = Math.min(100, ...types.flatMap(({ maxDutyPercent }) => maxDutyPercent ?? []));
  const cuts = [
    axisCut('supply', 'V', document.axes.voltageV, now.axes.voltageV, types.map((one) => one.minVoltageV), types.map((one) => one.maxVoltageV)),
    axisCut('rail pressure', 'kPa', document.axes.pressureKpa, now.axes.pressureKpa, types.map((one) => one.minPressureKpa), types.map((one) => one.maxPressureKpa)),
    axisCut('pulse width', 'ms', document.axes.widthMs, now.axes.widthMs, types.map((one) => one.minWidthMs), [...types.map((one) => one.maxWidthMs), (duty / 100) * Math.min(...document.axes.periodMs)]),
    now.static.replicates === 0 ? `no static flow and no first look: they hold an injector open (made for a duty of up to ${decimals(numberText(duty))} %)` : axisCut('supply of the static flow', 'V', [document.static.voltageV], [now.static.voltageV], [], []),
    axisCut('purge pulses', 'ms', [document.purge.widthMs], [now.purge.widthMs], [], []),
    now.invariance.pressurePercent === 0 ? 'the self-check moves no pressure: there is no room up to the limits' : '',
  ].filter((one) => one !== '');
  return cuts.length === 0 ? '' : `The usual sweep was cut to the limits of ${types.length === 1 ? 'the type' : 'the types'} ${types.map(({ type }) => type).join(', ')}: ${cuts.join('; ')}.`;
}

/**
 * Right as it stands as soon as one injector is mounted. The order is that of the injectors where they share one; what the lab keeps of their types is taken (EQ-16).
 */
export function startingPlan(parts: readonly Part[], records: readonly TypeRecord[]): PlanForm {
  const mounted = mountedParts(parts);
  const { types, template } = knownOfMounted(parts, records);
  const { form } = formOf({ ...(template === null ? cutTo(types) : document), ...template });
  const orders = new Set(mounted.map(({ order }) => order));
  const withInjectors: PlanForm = {
    ...form,
    texts: { ...form.texts, order: orders.size === 1 ? (mounted[0]?.order ?? '') : '' },
    injectors: mounted.map(injectorRow),
  };
  const withTypes = withRecords(withInjectors, records);
  return mounted.length === 0 ? withTypes : withReference(withTypes);
}

/** Switches the reference point on: the first injector in the middle of the axes, unless something was typed before. */
export function withReference(form: PlanForm): PlanForm {
  const nearest = (values: readonly string[], wanted: number) =>
    values.toSorted((a, b) => Math.abs(numberIn(a) - wanted) - Math.abs(numberIn(b) - wanted))[0] ?? '';
  return {
    ...form,
    hasReference: true,
    texts: {
      'reference.injector': form.injectors[0]?.serialNumber ?? '',
      'reference.voltageV': nearest(form.axes.voltageV, 14),
      'reference.pressureKpa': nearest(form.axes.pressureKpa, 400),
      'reference.widthMs': nearest(form.axes.widthMs, 5),
      'reference.periodMs': nearest(form.axes.periodMs, 20),
      'reference.everyPoints': '96',
      ...form.texts,
    },
  };
}
