/** What a person chose for this window; kept by the browser, so it belongs to this machine and not to the archive. */
import { create } from 'zustand';

export type Theme = 'system' | 'light' | 'dark';
/** How an amount of fluid is shown: mass per pulse, or a flow. */
export type FlowUnit = 'mg' | 'g/s' | 'cc/min' | 'lb/h';
export const flowUnits: readonly FlowUnit[] = ['mg', 'g/s', 'cc/min', 'lb/h'];

export type Sound = 'off' | 'bell' | 'two-tone' | 'horn';
const sounds: readonly Sound[] = ['off', 'bell', 'two-tone', 'horn'];

export interface Settings {
  readonly theme: Theme;
  readonly flowUnit: FlowUnit;
  /** Who works at this window: stands in journals and is what other windows call this one. Empty: nobody has said so yet. */
  readonly operator: string;
  /** Cells and buttons for fingers in gloves. */
  readonly gloves: boolean;
  /** How this window calls when a run needs somebody. */
  readonly sound: Sound;
  /** Whether the system shows it too. */
  readonly notify: boolean;
}

const key = 'railhouse.settings';
const defaults: Settings = { theme: 'system', flowUnit: 'mg', operator: '', gloves: false, sound: 'two-tone', notify: false };

/** What was stored, as far as it can be used; anything else is the default. */
export function settingsFrom(stored: string | null): Settings {
  let given: unknown = null;
  try {
    given = JSON.parse(stored ?? 'null');
  } catch {
    return defaults;
  }
  if (typeof given !== 'object' || given === null) return defaults;
  const { theme, flowUnit, operator, gloves, sound, notify } = given as Partial<Record<keyof Settings, unknown>>;
  return {
    theme: theme === 'light' || theme === 'dark' ? theme : defaults.theme,
    flowUnit: flowUnits.find((unit) => unit === flowUnit) ?? defaults.flowUnit,
    operator: typeof operator === 'string' && operator.trim() !== '' ? operator.trim().slice(0, 120) : defaults.operator,
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
  const next = settingsFrom(JSON.stringify({ ...settings(), ...change }));
  useSettings.setState(next);
  localStorage.setItem(key, JSON.stringify(next));
}
