/**
 * What the certificates of the simulated bench's instruments say. The plant draws its instrument errors with exactly
 * these standard uncertainties, so a reduction that uses them can be held against the truth.
 *
 * The shape is that of the equipment record's file (units in the field names; all uncertainties standard, k = 1, shared
 * by all measurements). Nothing here is a real certificate: numbers and dates are invented and never run out.
 */
const certificate = (number: string) => ({ number, date: '2026-01-05', validUntil: '2099-12-31' });

export const simulatedBenchEquipment = {
  equipmentVersion: 1,
  name: 'Simulated bench',
  meter: {
    kind: 'positive displacement, oval gear, simulated',
    serialNumber: 'SIM-FM-01',
    /** Slip past the gears lowers the factor at small flow: see plant/meter.ts. */
    kFactor: [
      { hertz: 0.5, edgesPerLitre: 47_737 },
      { hertz: 1, edgesPerLitre: 47_785 },
      { hertz: 2, edgesPerLitre: 47_846 },
      { hertz: 4, edgesPerLitre: 47_904 },
      { hertz: 8, edgesPerLitre: 47_946 },
      { hertz: 16, edgesPerLitre: 47_972 },
      { hertz: 32, edgesPerLitre: 47_985 },
      { hertz: 64, edgesPerLitre: 47_993 },
      { hertz: 128, edgesPerLitre: 47_996 },
      { hertz: 256, edgesPerLitre: 47_998 },
    ],
    relativeUncertaintyPercent: 0.1,
    edgesPerRevolution: 24,
    certificate: certificate('SIM-26-001'),
  },
  pressure: { serialNumber: 'SIM-PT-01', uncertaintyKpa: 0.4, certificate: certificate('SIM-26-002') },
  temperature: { serialNumber: 'SIM-TT-01', uncertaintyC: 0.1, certificate: certificate('SIM-26-003') },
  supply: { serialNumber: 'SIM-PS-01', uncertaintyMv: 5, certificate: certificate('SIM-26-004') },
  fluid: { name: 'n-heptane', lot: 'SIM-LOT-1', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
} as const;
