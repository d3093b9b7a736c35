/** A sweep that nobody has chosen the values of, cut to what its injectors are made for. EQ-24 in app/equipment/README.md. */
import type { StatedOfType } from '../plan/of-type.ts';

/** Values in the units of a plan. */
export interface SweepValues {
  readonly voltageV: readonly number[];
  readonly pressureKpa: readonly number[];
  readonly widthMs: readonly number[];
  /** The duty of each width is that of the shortest of them. */
  readonly periodMs: readonly number[];
  readonly staticVoltageV: number;
  /** 0: no injector is held open. */
  readonly staticReplicates: number;
  readonly purgeWidthMs: number;
  readonly purgePeriodMs: number;
  /** Of the first look, which also holds each injector open. null: there is none. */
  readonly lookMs: readonly [short: number, long: number] | null;
  /** Self-checks move the pressure by this much. */
  readonly pressurePercent: number;
}

interface Range {
  readonly low: number;
  readonly high: number;
}

const most = (values: readonly (number | undefined)[]): number => Math.max(0, ...values.flatMap((value) => value ?? []));
const least = (values: readonly (number | undefined)[]): number => Math.min(Infinity, ...values.flatMap((value) => value ?? []));

/** Those inside of the range; where none is, the limits that are nearest to them. Types without a common range leave them as they are: which of them is left out, a person says. */
function cut(values: readonly number[], { low, high }: Range): readonly number[] {
  if (low > high) return values;
  const inside = values.filter((value) => value >= low && value <= high);
  return inside.length > 0 ? inside : [...new Set(values.map((value) => Math.min(high, Math.max(low, value))))];
}

/** What all of `types` are made for at once; of a type that states nothing everything is taken. */
export function withinLimits(sweep: SweepValues, types: readonly StatedOfType[]): SweepValues {
  const volts = { low: most(types.map((of) => of.minVoltageV)), high: least(types.map((of) => of.maxVoltageV)) };
  const pressures = { low: most(types.map((of) => of.minPressureKpa)), high: least(types.map((of) => of.maxPressureKpa)) };
  const duty = least(types.map((of) => of.maxDutyPercent)) / 100;
  const [shortest, longest] = [most(types.map((of) => of.minWidthMs)), least(types.map((of) => of.maxWidthMs))];
  const widths = (period: number): Range => ({ low: shortest, high: Math.min(longest, duty * period) });
  const one = (value: number, range: Range): number => cut([value], range)[0] ?? value;
  const pressureKpa = cut(sweep.pressureKpa, pressures);
  const moves = pressureKpa.every((kpa) => kpa * (1 + sweep.pressurePercent / 100) <= pressures.high && kpa * (1 - sweep.pressurePercent / 100) >= pressures.low);
  // A look takes widths of hundredths of a millisecond.
  const looked = { low: Math.ceil(shortest * 100) / 100, high: Math.floor(longest * 100) / 100 };
  const [short, long] = (sweep.lookMs ?? [0, 0]).map((width) => one(width, looked)) as [number, number];
  return {
    voltageV: cut(sweep.voltageV, volts),
    pressureKpa,
    lookMs: duty < 1 || short >= long ? null : [short, long],
    pressurePercent: moves ? sweep.pressurePercent : 0,
    widthMs: cut(sweep.widthMs, widths(Math.min(...sweep.periodMs))),
    periodMs: sweep.periodMs,
    staticVoltageV: one(sweep.staticVoltageV, volts),
    // Held open is a duty of 100 %.
    staticReplicates: duty < 1 ? 0 : sweep.staticReplicates,
    purgeWidthMs: one(sweep.purgeWidthMs, widths(sweep.purgePeriodMs)),
    purgePeriodMs: sweep.purgePeriodMs,
  };
}
