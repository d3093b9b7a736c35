/** What the stability of a held point is told of. */
export const stabilitySignals = ['mass', 'pressure', 'supply', 'railTemperature', 'meterTemperature'] as const;
export type StabilitySignal = (typeof stabilitySignals)[number];
