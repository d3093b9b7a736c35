/**
 * What a bench reads, as one table. The frame's type, the line's fields, the columns of stored telemetry, the means of a window,
 * the guards, the columns of the CSV and the readings on the pages come from it (RUN-190); what is worked out of it stands in
 * `readings.ts`. Plain data: `firmware-protocol/` shares it, because the names and scales of a signal are the line's as much as the lab's.
 */

/** What a quantity is called where: SI inside, the trade's units at the edges. */
export interface QuantityRow {
  readonly si: string;
  /** The unit that ends the key of a field on the line (LINE-7); SI value = whole number on the line / `wirePerSi` + `zero`. */
  readonly wireUnit: string;
  readonly wirePerSi: number;
  /** As pages show it; shown value = SI value / `siPerShown` - `zero`. */
  readonly shown: string;
  /** The same unit in plain letters: texts of the journal, names of columns. */
  readonly plain: string;
  readonly columnUnit: string;
  /** Of a difference or a standard deviation. */
  readonly difference: string;
  readonly siPerShown: number;
  readonly zero: number;
}

export const quantityTable = {
  voltage: { si: 'V', wireUnit: 'mv', wirePerSi: 1e3, shown: 'V', plain: 'V', columnUnit: 'V', difference: 'V', siPerShown: 1, zero: 0 },
  current: { si: 'A', wireUnit: 'ma', wirePerSi: 1e3, shown: 'A', plain: 'A', columnUnit: 'A', difference: 'A', siPerShown: 1, zero: 0 },
  pressure: { si: 'Pa', wireUnit: 'pa', wirePerSi: 1, shown: 'kPa', plain: 'kPa', columnUnit: 'kPa', difference: 'kPa', siPerShown: 1e3, zero: 0 },
  temperature: { si: 'K', wireUnit: 'mdegc', wirePerSi: 1e3, shown: '°C', plain: 'degC', columnUnit: 'C', difference: 'K', siPerShown: 1, zero: 273.15 },
} as const satisfies Readonly<Record<string, QuantityRow>>;

export interface SignalRow {
  readonly quantity: keyof typeof quantityTable;
  /** Begins the key of its field on the line, as in `meter-mdegc`, and names the analog input that may be calibrated (LINE-91). */
  readonly input: string;
  /** The field of the line's message. */
  readonly field: string;
  /** As a page calls it, and as a sentence does. */
  readonly label: string;
  readonly name: string;
  /** Begins the names of its columns in attempts.csv. */
  readonly column: string;
  /** Digits after the point of a single reading, shown; of a mean there is one more. */
  readonly digits: number;
  /** In the shown unit: an axis spans at least this. */
  readonly leastSpan: number;
  /** The signal of a plan's guards that is this reading as it comes; null: there is none. */
  readonly guard: string | null;
  /** What to look at when it is out of its limits. */
  readonly check: string;
  /** The band of the plan's `condition` that it must keep before a window and in it; null: none. */
  readonly band: 'pressure' | 'temperature' | null;
  /** Its transducer moves the last digit from frame to frame, so one that stands does not follow (RUN-163). */
  readonly lively: boolean;
  /**
   * Not a field of LINE-41, but asked for by the extension `signals` (LINE-114): a controller may lack it, and so may frames, stored
   * telemetry and windows.
   */
  readonly further?: true;
  /** Windows in journals of earlier versions lack it. */
  readonly addedToWindows?: true;
}

/** In the order of the line and of stored telemetry: add at the end. */
export const signalTable = {
  supply: {
    quantity: 'voltage', input: 'supply', field: 'supplyMv', label: 'Supply', name: 'supply', column: 'supply', digits: 2, leastSpan: 1,
    guard: null, check: 'Check the supply and its leads to the driver.', band: null, lively: false,
  },
  current: {
    quantity: 'current', input: 'current', field: 'currentMa', label: 'Supply current', name: 'supply current', column: 'current', digits: 2, leastSpan: 1,
    guard: 'current-a', check: 'Look for a short in injector, plug or harness before anything is switched on again.', band: null, lively: false, addedToWindows: true,
  },
  /** Gauge. */
  pressure: {
    quantity: 'pressure', input: 'pressure', field: 'pressurePa', label: 'Rail pressure', name: 'rail pressure', column: 'pressure', digits: 1, leastSpan: 10,
    guard: 'pressure-kpa', check: 'Check pump, regulator, filter and the fluid in the tank.', band: 'pressure', lively: true,
  },
  railTemperature: {
    quantity: 'temperature', input: 'rail', field: 'railMilliC', label: 'Rail temperature', name: 'fluid temperature in the rail', column: 'rail_temperature', digits: 1, leastSpan: 1,
    guard: 'rail-temperature-c', check: 'Check heater and cooler, and let the fluid come to temperature.', band: 'temperature', lively: true,
  },
  meterTemperature: {
    quantity: 'temperature', input: 'meter', field: 'meterMilliC', label: 'Meter temperature', name: 'fluid temperature at the meter', column: 'meter_temperature', digits: 1, leastSpan: 1,
    guard: 'meter-temperature-c', check: 'Check heater and cooler, and let the fluid come to temperature.', band: 'temperature', lively: true,
  },
  /** The mean of the read-back inside pulses alone (LINE-130): there is none where nothing was driven. */
  supplyInPulse: {
    quantity: 'voltage', input: 'supply-in-pulse', field: 'supplyInPulseMv', label: 'Supply in the pulse', name: 'supply inside the pulse', column: 'supply_in_pulse', digits: 2, leastSpan: 1,
    guard: null, check: 'Check the supply and its leads to the driver.', band: null, lively: false, further: true,
  },
} as const satisfies Readonly<Record<string, SignalRow>>;
