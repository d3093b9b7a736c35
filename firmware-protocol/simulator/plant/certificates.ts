/**
 * What the certificates of the simulated bench's instruments say. The plant draws its instrument errors with exactly
 * these standard uncertainties, so a reduction that uses them can be held against the truth.
 *
 * The shape is that of the equipment record's file (units in the field names; all uncertainties standard, k = 1, shared
 * by all measurements). Nothing here is a real certificate: numbers and dates are invented and never run out.
 */
import { EDGES_PER_REVOLUTION, nominalKFactor } from './k-factor.ts';

const certificate = (number: string) => ({ number, date: '2026-01-05', validUntil: '2099-12-31' });

/** Close enough that a straight line between two points is the curve to 0.003 %. */
const CALIBRATED_HERTZ = [0.5, 0.75, 1, 1.5, 2, 3, 4, 6, 8, 12, 16, 24, 32, 64, 128, 256, 512];

export const simulatedBenchEquipment = {
  equipmentVersion: 2 as const,
  name: 'Simulated bench',
  controller: { model: 'simulated-bench', serialNumber: 'SIM-0001' },
  meter: {
    kind: 'positive displacement, oval gear, simulated',
    serialNumber: 'SIM-FM-01',
    kFactor: CALIBRATED_HERTZ.map((hertz) => ({ hertz, edgesPerLitre: Math.round(nominalKFactor(hertz)) })),
    relativeUncertaintyPercent: 0.1,
    edgesPerRevolution: EDGES_PER_REVOLUTION,
    certificate: certificate('SIM-26-001'),
  },
  pressure: { serialNumber: 'SIM-PT-01', uncertaintyKpa: 0.4, certificate: certificate('SIM-26-002') },
  temperature: { serialNumber: 'SIM-TT-01', uncertaintyC: 0.1, certificate: certificate('SIM-26-003') },
  supply: { serialNumber: 'SIM-PS-01', uncertaintyMv: 5, insidePulseMv: 3, certificate: certificate('SIM-26-004') },
  wiring: { sensedAt: 'the terminals of the supply', harnessOhm: 0.077, harnessUncertaintyOhm: 0.01 },
  driver: { type: 'saturated low-side switches, simulated', clampV: 47, clampUncertaintyV: 0.4, channelUncertaintyV: 0.4 },
  timeBase: { kind: 'crystal oscillator, simulated', uncertaintyPpm: 20, refuseAbovePpm: 500 },
  fluid: { name: 'n-heptane' as const, lot: 'SIM-LOT-1', openedOn: '2026-01-05', useWithinDays: 36_500, densityUncertaintyPercent: 0.1, purityPercent: 99.9 },
  /** Found by a dose of known volume into the shut rail; the true rail is a little softer or stiffer. */
  rail: { complianceMlPerMpa: 76.5, complianceUncertaintyPercent: 3, volumeMl: 50 },
  ambientKpa: 101.325,
};
