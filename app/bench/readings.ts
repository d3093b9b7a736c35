/** What the table of signals comes to: the readings of one instant, on the line and in a frame, and how they are converted. */
import { amperes, kelvins, pascals, volts } from '../quantities/quantity.ts';
import type { Quantity } from '../quantities/quantity.ts';
import { quantityTable, signalTable } from './signals.ts';
import type { QuantityRow, SignalRow } from './signals.ts';

type Table = typeof signalTable;
export type SignalId = keyof Table;
type Further = { [S in SignalId]: Table[S] extends { readonly further: true } ? S : never }[SignalId];
type InEveryFrame = Exclude<SignalId, Further>;
type AddedToWindows = { [S in SignalId]: Table[S] extends { readonly addedToWindows: true } | { readonly further: true } ? S : never }[SignalId];
type ValueOf<S extends SignalId> = Quantity<(typeof quantityTable)[Table[S]['quantity']]['si']>;

/** The readings of one instant in SI units, pressure gauge. */
export type Readings = { readonly [S in InEveryFrame]: ValueOf<S> } & { readonly [S in Further]?: ValueOf<S> };

type WireField = Table[SignalId]['field'];

/** The same as whole numbers of the line. */
export type WireReadings = { readonly [S in InEveryFrame as Table[S]['field']]: number } & { readonly [S in Further as Table[S]['field']]?: number };

/** A signal over a window, in its SI unit. `sd`: sample standard deviation, n - 1; 0 when n is 1. */
export interface Spread<T extends number = number> {
  readonly mean: T;
  readonly sd: number;
}

/** The signals over a window; those that came later are absent in journals of earlier versions. */
export type Spreads = { readonly [S in Exclude<SignalId, AddedToWindows>]: Spread<ValueOf<S>> } & { readonly [S in AddedToWindows]?: Spread<ValueOf<S>> };

/** The analog inputs that may be calibrated (LINE-91). */
export type AnalogInput = Table[InEveryFrame]['input'];

/** Signals of guards that are a reading as it comes. */
export type GuardedReading = NonNullable<Table[SignalId]['guard']>;

/** A row of the table with its quantity. */
export interface Signal extends SignalRow, Omit<QuantityRow, never> {
  readonly id: SignalId;
  readonly input: Table[SignalId]['input'];
  readonly field: WireField;
  readonly guard: GuardedReading | null;
  /** Of its field on the line. */
  readonly key: string;
}

/** All signals, in the order of the line. */
export const signals: readonly Signal[] = (Object.keys(signalTable) as SignalId[]).map((id) => {
  const row = signalTable[id];
  const quantity = quantityTable[row.quantity];
  return { id, ...quantity, ...row, key: `${row.input}-${quantity.wireUnit}` };
});

/** A reading of every frame. */
interface FrameSignal extends Signal {
  readonly input: AnalogInput;
}

/** Those of every frame, and those that are asked for (LINE-114). */
export const frameSignals: readonly FrameSignal[] = signals.filter((signal): signal is FrameSignal => signal.further !== true);
export const furtherSignals: readonly Signal[] = signals.filter(({ further }) => further === true);

/** In the order in which windows are stored and shown: that of the rail first. */
export const windowSignals: readonly Signal[] = signals.toSorted((a, b) => Number(b.id === 'pressure') - Number(a.id === 'pressure'));

/** The temperatures that must keep the band of the plan. */
export const fluidTemperatures: readonly Signal[] = signals.filter(({ band }) => band === 'temperature');

/**
 * The readings of every frame in the order of `frameSignals`, to the places from `from` on. LINE-41 does not change any more, so they stand here by name: frames
 * are many, and fetching each by a name that is looked up costs ten times as much. A test holds it against the table.
 */
export function readInto(values: Float64Array, readings: Readings, from = 0): void {
  values[from] = readings.supply;
  values[from + 1] = readings.current;
  values[from + 2] = readings.pressure;
  values[from + 3] = readings.railTemperature;
  values[from + 4] = readings.meterTemperature;
}

/** Each whole number of the line put through `to`. */
export const mapWire = (said: WireReadings, to: (whole: number) => number): WireReadings => ({
  supplyMv: to(said.supplyMv), currentMa: to(said.currentMa), pressurePa: to(said.pressurePa), railMilliC: to(said.railMilliC), meterMilliC: to(said.meterMilliC),
});

/** Where `readInto` puts a signal; -1: it is a further one, and has to be asked for by `readingOf`. */
export const placeInFrame = ({ id }: Signal): number => frameSignals.findIndex((signal) => signal.id === id);

/** Back from columns in that order, the readings of row `i`; NaN where there is none. */
export function readingsAt(columns: readonly (readonly number[])[], i: number): Readings {
  const at = (column: number): number => columns[column]?.[i] ?? Number.NaN;
  return {
    supply: volts(at(0)), current: amperes(at(1)), pressure: pascals(at(2)), railTemperature: kelvins(at(3)), meterTemperature: kelvins(at(4)),
  };
}

/** undefined: a further signal that was not read. */
export const readingOf = (readings: Readings, id: SignalId): number | undefined => readings[id];
export const wireReadingOf = (readings: WireReadings, field: WireField): number | undefined => readings[field];
export const spreadOf = (spreads: Spreads, id: SignalId): Spread | undefined => spreads[id];

/** A whole number of the line in the SI unit. */
const fromWire = ({ wirePerSi, zero }: Signal, whole: number): number => whole / wirePerSi + zero;

/** What a frame of the line reads, in SI units. */
export function readingsFromWire(said: WireReadings): Readings {
  const readings: Record<string, number> = {};
  for (const signal of signals) {
    const whole = wireReadingOf(said, signal.field);
    if (whole !== undefined) readings[signal.id] = fromWire(signal, whole);
  }
  return readings as unknown as Readings;
}

/** An SI value in the unit that is shown. */
export const toShown = ({ siPerShown, zero }: Signal, si: number): number => si / siPerShown - zero;

/** A difference or standard deviation of SI values in the unit that is shown. */
export const differenceShown = ({ siPerShown }: Signal, si: number): number => si / siPerShown;
