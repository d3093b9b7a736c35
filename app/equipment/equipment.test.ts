import { describe, expect, test } from 'vitest';
import type { Equipment } from './equipment.ts';
import { parseEquipment } from './parse.ts';
import { belongsTo, certificatesOn, grantedSentences, lotAgeDays, notOfController, takenForGranted } from './standing.ts';

const certificate = { number: 'C-1', date: '2026-01-05', validUntil: '2027-01-04' };
const document = {
  equipmentVersion: 2,
  name: 'Bench 1',
  controller: { model: 'M', serialNumber: '17' },
  meter: { kind: 'gear', serialNumber: 'FM', kFactor: [{ hertz: 10, edgesPerLitre: 48_000 }], relativeUncertaintyPercent: 0.1, edgesPerRevolution: 24, certificate },
  pressure: { serialNumber: 'PT', uncertaintyKpa: 0.4, certificate },
  temperature: { serialNumber: 'TT', uncertaintyC: 0.1, certificate },
  supply: { serialNumber: 'PS', uncertaintyMv: 5, certificate },
  wiring: { sensedAt: 'terminals', harnessOhm: 0.1, harnessUncertaintyOhm: 0.01 },
  driver: { type: 'saturated switch', clampV: 38, clampUncertaintyV: 0.4 },
  timeBase: { kind: 'crystal', uncertaintyPpm: 30, refuseAbovePpm: 300 },
  fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-02-01', useWithinDays: 90, densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
};
const newFields = ['controller', 'wiring', 'driver', 'timeBase'];
const instruments = Object.fromEntries(Object.entries(document).filter(([field]) => !newFields.includes(field)));

type BenchEquipment = Extract<Equipment, { equipmentVersion: 2 }>;

function record(input: unknown): BenchEquipment {
  const parsed = parseEquipment(input);
  if (!parsed.ok || parsed.equipment.equipmentVersion !== 2) throw new Error(JSON.stringify(parsed));
  return parsed.equipment;
}
const problems = (input: unknown): readonly { readonly path: string; readonly text: string }[] => {
  const parsed = parseEquipment(input);
  return parsed.ok ? [] : parsed.problems;
};

describe('which controller', () => {
  test('EQ-1 the record belongs to the controller that it names, by model and serial number', () => {
    const equipment = record(document);
    expect(belongsTo(equipment, { model: 'M', serialNumber: '17' })).toBe(true);
    expect(notOfController(equipment, { model: 'M', serialNumber: '17' })).toBeNull();
    for (const other of [{ model: 'M', serialNumber: '18' }, { model: 'N', serialNumber: '17' }]) {
      expect(belongsTo(equipment, other)).toBe(false);
      expect(notOfController(equipment, other)).toContain(`belongs to the controller M 17, and ${other.model} ${other.serialNumber} is connected`);
    }
  });

  test('EQ-6 a record of version 1 is read, belongs to no controller, and the refusal says what to add', () => {
    const parsed = parseEquipment({ ...instruments, equipmentVersion: 1 });
    if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
    expect(belongsTo(parsed.equipment, { model: 'M', serialNumber: '17' })).toBe(false);
    const text = notOfController(parsed.equipment, { model: 'M', serialNumber: '17' });
    for (const field of ['"equipmentVersion": 2', '"model": "M"', '"serialNumber": "17"', 'harnessOhm', 'clampV', 'refuseAbovePpm']) expect(text).toContain(field);
  });

  test.each(newFields)('EQ-1 to EQ-4 a record of version 2 without %s is refused with the path', (field) => {
    expect(problems({ ...document, [field]: undefined })).toMatchObject([{ path: field }]);
  });

  test('EQ-2 a clamp that cannot be one to ground is refused', () => {
    expect(problems({ ...document, driver: { ...document.driver, clampV: 12 } })).toMatchObject([{ path: 'driver.clampV' }]);
  });

  test('a record of no known version says what versions there are', () => {
    expect(problems({ ...document, equipmentVersion: 3 })).toMatchObject([{ path: 'equipmentVersion' }]);
  });
});

describe('EQ-11 what a record takes for granted', () => {
  const { pressure, supply, fluid } = record(document);
  const silent = { ...document, rail: undefined, pressure, supply, fluid };

  test('is said of each that it does not state, and of none that it states', () => {
    expect(Object.values(takenForGranted(record(silent))).every((sentence) => sentence !== null)).toBe(true);
    expect(grantedSentences(record(silent))).toHaveLength(3);
    const stated = record({ ...silent, pressure: { ...pressure, whileOpenKpa: 1 }, supply: { ...supply, insidePulseMv: 20 }, fluid: { ...fluid, purityPercent: 99 } });
    expect(grantedSentences(stated)).toEqual([]);
  });

  test('RED-176 of the supply it says what is allowed for instead, but for a record of version 1; a stated 0 says that it was looked for', () => {
    const old = parseEquipment({ ...instruments, equipmentVersion: 1 });
    expect(takenForGranted(record(silent)).supply).toContain('up to 60 mohm of leads and contacts (an estimate; 70 mV at 14 V');
    expect(old.ok ? takenForGranted(old.equipment).supply : old).toMatch(/taken for the mean of the read-back\. 100 mV/);
    expect(takenForGranted(record({ ...silent, supply: { ...supply, insidePulseMv: 0 } })).supply).toBeNull();
  });

  test('EQ-8 to EQ-10 each may be absent, in records of both versions, and none may be nonsense', () => {
    expect(problems({ ...silent, pressure: { ...pressure, whileOpenKpa: -1 } })).toMatchObject([{ path: 'pressure.whileOpenKpa' }]);
    expect(problems({ ...silent, supply: { ...supply, insidePulseMv: -1 } })).toMatchObject([{ path: 'supply.insidePulseMv' }]);
    expect(problems({ ...silent, fluid: { ...fluid, purityPercent: 101 } })).toMatchObject([{ path: 'fluid.purityPercent' }]);
    expect(takenForGranted(record({ ...silent, rail: { complianceMlPerMpa: 70, complianceUncertaintyPercent: 3, volumeMl: 50 } })).pressure).toBeNull();
    expect(takenForGranted(record({ ...silent, fluid: { ...fluid, measuredDensity: { kgPerM3: 684, atC: 20, on: '2026-02-06' } } })).fluid).toBeNull();
  });
});

test('EQ-12 EQ-13 how well current and coil temperature are known may be stated, in records of both versions, and may be no nonsense', () => {
  const { supply, temperature } = record(document);
  expect(problems({ ...document, supply: { ...supply, currentUncertaintyPercent: -1 } })).toMatchObject([{ path: 'supply.currentUncertaintyPercent' }]);
  expect(problems({ ...document, temperature: { ...temperature, coilOverRailC: -1 } })).toMatchObject([{ path: 'temperature.coilOverRailC' }]);
  expect(record({ ...document, supply: { ...supply, currentUncertaintyPercent: 1 }, temperature: { ...temperature, coilOverRailC: 0.05 } })).toMatchObject({ supply: { currentUncertaintyPercent: 1 }, temperature: { coilOverRailC: 0.05 } });
});

describe('EQ-5 what can be traced on a day', () => {
  test.each([
    ['2026-01-04', 4, 0],
    ['2026-01-05', 0, 0],
    ['2026-12-05', 0, 0],
    ['2026-12-06', 0, 4],
    ['2027-01-04', 0, 4],
    ['2027-01-05', 4, 0],
  ])('on %s %i certificates do not hold and %i end within 30 days', (today, stale, ending) => {
    const found = certificatesOn(record(document), today);
    expect([found.stale.length, found.ending.length]).toEqual([stale, ending]);
  });

  test('the age of the lot counts days, over a leap day too', () => {
    const opened = (openedOn: string) => record({ ...document, fluid: { ...document.fluid, openedOn } });
    expect(lotAgeDays(opened('2028-02-01'), '2028-03-01')).toBe(29);
    expect(lotAgeDays(opened('2026-02-01'), '2026-02-01')).toBe(0);
    expect(lotAgeDays(opened('2026-02-02'), '2026-02-01')).toBe(-1);
  });
});
