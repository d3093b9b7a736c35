import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, expect, test } from 'vitest';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import { parseEquipment } from '../../../app/equipment/parse.ts';
import { useSettings } from '../../settings/settings.ts';
import { beginCheck, checkIn, runColumnsText, runLines } from './check-fields.ts';

const before = useSettings.getState();
afterEach(() => useSettings.setState(before));
const sample = (name: string): unknown => JSON.parse(readFileSync(join(import.meta.dirname, '../../../main/samples', name), 'utf8'));
const equipment = (): Equipment => {
  const read = parseEquipment(sample('equipment.json'));
  if (!read.ok) throw new Error('the sample is no equipment record');
  return read.equipment;
};
const runsOf = (text: string): unknown => {
  const { document, problems } = checkIn({ ...beginCheck(equipment(), '2026-11-27', null, 'A. Tester'), runs: runLines.stored(text) }, equipment());
  return problems.get('runs') ?? (document as { flowRates: unknown }).flowRates;
};

test('WIN-190: pasted runs are read in the chosen units, and the check has degC and kPa', () => {
  useSettings.setState({ ...before, pressureUnit: 'bar', temperatureUnit: 'degF' });
  expect(runColumnsText()).toBe('rate no., edges, time s, start g, end g, temperature °F, pressure bar');
  expect(runsOf('1\t5000\t60,5\t10\t110.5\t77\t3,5\n2; 6000; 61; 0; 100; \u22124; 4\n')).toEqual([
    { runs: [{ edges: 5000, durationS: 60.5, startG: 10, endG: 110.5, meterTemperatureC: 25, meterPressureKpa: 350 }] },
    { runs: [{ edges: 6000, durationS: 61, startG: 0, endG: 100, meterTemperatureC: -20, meterPressureKpa: 400 }] },
  ]);
  expect(runsOf('1 5000 60')).toContain('temperature °F, pressure bar');
});

test('WIN-190: lines that are kept in degC and kPa stand there in the chosen units and go back as they were; what is not whole stays', () => {
  const kept = '1\t5000\t60.5000\t?\t?\t25.00\t350.0\n1 5000\n';
  expect([runLines.typed(kept), runLines.stored(kept)]).toEqual([kept, kept]);
  useSettings.setState({ ...before, pressureUnit: 'bar', temperatureUnit: 'degF' });
  expect(runLines.typed(kept)).toBe('1\t5000\t60.5000\t?\t?\t77\t3.5\n1 5000\n');
  expect(runLines.stored(runLines.typed(kept))).toBe('1\t5000\t60.5000\t?\t?\t25\t350\n1 5000\n');
});

test('WIN-206: a value of a run that is out of its limits is told with its line and column, in the chosen unit, also while other fields are empty', () => {
  useSettings.setState({ ...before, pressureUnit: 'psi' });
  expect(runsOf('1 5000 60 10 110 25 50\n\n1 5000 60 10 110 25 -50')).toBe('Line 3, pressure: This must be at least 0 psi, but it is −50 psi.');
  expect(runsOf('2 -5000 60 10 110 25 50')).toBe('Line 1, edges: This must be at least 1, but it is −5000.');
  const draft = beginCheck(equipment(), '2026-11-27', null, 'A. Tester');
  const { problems } = checkIn({ ...draft, values: { ...draft.values, ambientKpa: '-5' } }, equipment());
  expect([problems.get('ambientKpa'), problems.get('certificate.number'), problems.get('runs')]).toEqual([expect.stringMatching(/^This must be more than 0, but it is -5\.$/u), 'This has to be stated.', expect.stringContaining('Write one run a line')]);
});
