/** What a person chose for this window; kept by the browser, so it belongs to this machine and not to the archive. */
import { create } from 'zustand';

export type Theme = 'system' | 'light' | 'dark';
/** How an amount of fluid is shown: mass per pulse, or a flow. */
export type FlowUnit = 'mg' | 'g/s' | 'cc/min' | 'lb/h';
export const flowUnits: readonly FlowUnit[] = ['mg', 'g/s', 'cc/min', 'lb/h'];

export type Sound = 'off' | 'bell' | 'two-tone' | 'horn';
const sounds: readonly Sound[] = ['off', 'bell', 'two-tone', 'horn'];

export type PressureUnit = 'kPa' | 'bar' | 'psi';
const pressureUnits: readonly PressureUnit[] = ['kPa', 'bar', 'psi'];
export type TemperatureUnit = 'degC' | 'degF';
/** How days and times are written: English, German, or ISO 8601 with the zone. */
export type DateStyle = 'en' | 'de' | 'iso';
const dateStyles: readonly DateStyle[] = ['en', 'de', 'iso'];
/** The sign before the decimals where readings are shown. Entry takes both, always (WIN-1). */
export type DecimalSign = 'point' | 'comma';

export interface Settings {
  readonly theme: Theme;
  readonly flowUnit: FlowUnit;
  /** Who works at this window: stands in journals and is what other windows call this one. Empty: nobody has said so yet. */
  readonly operator: string;
  /** Who has worked at this window, the latest first. */
  readonly operators: readonly string[];
  readonly pressureUnit: PressureUnit;
  readonly temperatureUnit: TemperatureUnit;
  readonly dates: DateStyle;
  readonly decimal: DecimalSign;
  /** Cells and buttons for fingers in gloves. */
  readonly gloves: boolean;
  /** How this window calls when a run needs somebody. */
  readonly sound: Sound;
  /** Whether the system shows it too. */
  readonly notify: boolean;
}

const key = 'railhouse.settings';
const defaults: Settings = { theme: 'system', flowUnit: 'mg', operator: '', operators: [], pressureUnit: 'kPa', temperatureUnit: 'degC', dates: 'en', decimal: 'point', gloves: false, sound: 'two-tone', notify: false };

const mostOperators = 20;

/** What was stored, as far as it can be used; anything else is the default. */
export function settingsFrom(stored: string | null): Settings {
  let given: unknown = null;
  try {
    given = JSON.parse(stored ?? 'null');
  } catch {
    return defaults;
  }
  if (typeof given !== 'object' || given === null) return defaults;
  const { theme, flowUnit, operator, operators, pressureUnit, temperatureUnit, dates, decimal, gloves, sound, notify } = given as Partial<Record<keyof Settings, unknown>>;
  return {
    theme: theme === 'light' || theme === 'dark' ? theme : defaults.theme,
    flowUnit: flowUnits.find((unit) => unit === flowUnit) ?? defaults.flowUnit,
    operator: typeof operator === 'string' && operator.trim() !== '' ? operator.trim().slice(0, 120) : defaults.operator,
    operators: Array.isArray(operators) ? operators.filter((name) => typeof name === 'string').slice(0, mostOperators) : [],
    pressureUnit: pressureUnits.find((unit) => unit === pressureUnit) ?? defaults.pressureUnit,
    temperatureUnit: temperatureUnit === 'degF' ? 'degF' : 'degC',
    dates: dateStyles.find((style) => style === dates) ?? defaults.dates,
    decimal: decimal === 'comma' ? 'comma' : 'point',
    gloves: gloves === true,
    sound: sounds.find((one) => one === sound) ?? defaults.sound,
    notify: notify === true,
  };
}

export const useSettings = create<Settings>()(() => settingsFrom(typeof localStorage === 'undefined' ? null : localStorage.getItem(key)));

export function settings(): Settings {
  return useSettings.getState();
}

export function changeSettings(change: Partial<Settings>): void {
  const next = settingsFrom(JSON.stringify({ ...settings(), ...change, ...(change.operator === undefined ? {} : { operators: withOperator(change.operator.trim()) }) }));
  useSettings.setState(next);
  localStorage.setItem(key, JSON.stringify(next));
}

const withOperator = (name: string): readonly string[] => (name === '' ? settings().operators : [name, ...settings().operators.filter((one) => one !== name)]);
