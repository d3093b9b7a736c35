/**
 * Quantities: SI numbers that the compiler will not let anybody swap.
 *
 * A quantity is a plain number in its SI unit with a brand that exists only for the compiler. Values are made at the
 * edge of the house by the constructors below and converted only at the edge; inside, nothing but SI is spoken.
 */

declare const unit: unique symbol;

/** A number whose unit the compiler knows. `U` names the SI unit. */
export type Quantity<U extends string> = number & { readonly [unit]: U };

export type Volts = Quantity<'V'>;
export type Amperes = Quantity<'A'>;
/** Gauge pressure unless a name says absolute. */
export type Pascals = Quantity<'Pa'>;
export type Seconds = Quantity<'s'>;
export type Kelvins = Quantity<'K'>;
export type Kilograms = Quantity<'kg'>;
export type KilogramsPerSecond = Quantity<'kg/s'>;
export type KilogramsPerCubicMetre = Quantity<'kg/m3'>;
export type CubicMetres = Quantity<'m3'>;

/** Milliseconds since 1970-01-01T00:00Z, the only wall-clock time in the house. */
export type UnixMillis = Quantity<'unix-ms'>;

export const volts = (v: number): Volts => v as Volts;
export const amperes = (a: number): Amperes => a as Amperes;
export const pascals = (p: number): Pascals => p as Pascals;
export const kilopascals = (kPa: number): Pascals => (kPa * 1e3) as Pascals;
export const seconds = (s: number): Seconds => s as Seconds;
export const milliseconds = (ms: number): Seconds => (ms * 1e-3) as Seconds;
export const microseconds = (us: number): Seconds => (us * 1e-6) as Seconds;
export const kelvins = (k: number): Kelvins => k as Kelvins;
export const celsius = (c: number): Kelvins => (c + 273.15) as Kelvins;
export const kilograms = (kg: number): Kilograms => kg as Kilograms;
export const unixMillis = (ms: number): UnixMillis => ms as UnixMillis;

export const toKilopascals = (p: Pascals): number => p / 1e3;
export const toMilliseconds = (s: Seconds): number => s * 1e3;
export const toMicroseconds = (s: Seconds): number => s * 1e6;
export const toCelsius = (k: Kelvins): number => k - 273.15;
