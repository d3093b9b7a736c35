/** The units in which a report shows its numbers, and the SI units that they are kept in. */
import type { ReportUnit } from './document.ts';

export const reportUnits = {
  deadTime: { si: 's', shown: 'ms', factor: 1e3 },
  microseconds: { si: 's', shown: 'µs', factor: 1e6 },
  slope: { si: 'kg/s', shown: 'mg/ms', factor: 1e3 },
  staticFlow: { si: 'kg/s', shown: 'g/min', factor: 6e4 },
  mass: { si: 'kg', shown: 'mg', factor: 1e6 },
  leak: { si: 'm3/s', shown: 'mL/min', factor: 6e7 },
  percent: { si: '1', shown: '%', factor: 100 },
  ratio: { si: '1', shown: '', factor: 1 },
  resistance: { si: 'ohm', shown: 'Ω', factor: 1 },
} as const satisfies Record<string, ReportUnit>;
