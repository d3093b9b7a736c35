/** What the simulated controller says of itself (LINE-51 and following, LINE-81): its limits, its watches, its name. */

export const PROTOCOL = 1;
export const MODEL = 'simulated-bench';
export const FIRMWARE = '1.0';

export const TIMING = {
  tickNs: 500,
  minWidthNs: 100_000,
  maxWidthNs: 100_000_000,
  minPeriodUs: 1_000,
  maxPeriodUs: 1_000_000,
  maxCount: 1_000_000,
} as const;
export const SUPPLY = { minMv: 0, maxMv: 18_000, safeMv: 0 } as const;
export const PRESSURE = { minPa: 100_000, maxPa: 600_000 } as const;
export const SAFETY = {
  deadmanMinMs: 100,
  deadmanMaxMs: 10_000,
  telemetryMaxHz: 200,
  tripMa: 5_000,
  tripPa: 700_000,
  tripMilliC: 45_000,
  interlocks: ['emergency-stop', 'cover', 'ventilation'],
} as const;
export const EMERGENCY_STOP = 1;
export const COVER = 2;
export const VENTILATION = 4;
export const ALL_CLOSED = EMERGENCY_STOP | COVER | VENTILATION;

/** LINE-81. */
export const EXTENSIONS = ['rail', 'echo', 'watch', 'health', 'calibration', 'signals'] as const;
/** LINE-92, LINE-94, LINE-96. */
export const WATCH = {
  idleMa: 150,
  idleEdges: 20,
  idleMs: 500,
  frozenMs: 2_000,
  sensorLowPermille: 50,
  sensorHighPermille: 950,
  meterMaxHz: 5_000,
} as const;
export const FREE_STACK = 4_096;

/** How often inputs and limits are looked at; the specification allows 50 ms to the reaction (LINE-59). */
export const SUPERVISION_US = 20_000;
