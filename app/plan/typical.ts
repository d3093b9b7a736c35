/**
 * Dead time of a usual saturated-switch port injector at a supply voltage, s: 0.69 ms at 14 V and 1.45 ms at 9 V (fitted to a
 * simulation; no citable table). For plans and estimates, before anything was measured.
 */
export const typicalDeadTime = (voltage: number): number => 0.69e-3 * (14 / voltage) ** 1.7;
