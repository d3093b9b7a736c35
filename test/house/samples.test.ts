/** The sample documents are good, and agree with the simulated bench that they are run on. */
import { expect, test } from 'vitest';
import { parseLayout } from '../../app/handover/layout.ts';
import { parseParties } from '../../app/handover/parties.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { countPoints } from '../../app/plan/expand.ts';
import { reportDetailsSchema } from '../../app/report/details.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { edgesPerMlOf, evaluateQualification, parseQualification } from '../../app/qualification/qualification.ts';
import { simulatedBenchEquipment } from '../../firmware-protocol/simulator/plant/certificates.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';

test('the sample sweep has 8 injectors, 5 voltages from 9 to 16 V, 12 widths and 3 replicates at 400 kPa', () => {
  const parsed = parsePlan(readSample('plan'));
  expect(parsed).toMatchObject({ ok: true });
  if (!parsed.ok) return;
  const { injectors, axes } = parsed.plan;
  expect([injectors.length, axes.voltageV.length, axes.widthMs.length, axes.replicates]).toEqual([8, 5, 12, 3]);
  expect([Math.min(...axes.voltageV), Math.max(...axes.voltageV), axes.pressureKpa]).toEqual([9, 16, [400]]);
  expect(countPoints(parsed.plan)).toEqual({ measure: 1440, reference: 16, held: 0, zero: 6, pair: 8, invariance: 48, blind: 36, look: 24 });
});

test('PLAN-90: the sample of targets is the sample sweep with targets in place of replicates', () => {
  const parsed = parsePlan(readSample('targets'));
  const sweep = parsePlan(readSample('plan'));
  expect(parsed).toMatchObject({ ok: true });
  if (!parsed.ok || !sweep.ok) return;
  expect(parsed.plan.targets?.atVoltage.map((t) => t.voltageV)).toEqual(parsed.plan.axes.voltageV);
  expect({ ...parsed.plan, name: '', order: '', targets: undefined, axes: { ...parsed.plan.axes, replicates: 3 } }).toEqual({ ...sweep.plan, name: '', order: '', targets: undefined });
});

test('the report details have all that a report may state, and plainly invented names', () => {
  const parsed = reportDetailsSchema.safeParse(readSample('report-details'));
  expect(parsed.error).toBeUndefined();
  expect(parsed.data?.laboratory?.name).toBe('Example Flow Laboratory');
});

test('the small plan has three axes and few points', () => {
  const parsed = parsePlan(readSample('small-plan'));
  expect(parsed).toMatchObject({ ok: true });
  expect(parsed.ok && countPoints(parsed.plan)).toEqual({ measure: 12, reference: 0, held: 0, zero: 3, pair: 2, invariance: 0, blind: 0, look: 0 });
});

test('CLI-75: the reference hold is one window of one point, half an hour long', () => {
  const parsed = parsePlan(readSample('reference-hold'));
  expect(parsed).toMatchObject({ ok: true });
  if (!parsed.ok) return;
  expect(countPoints(parsed.plan)).toMatchObject({ measure: 1, reference: 0, held: 0, pair: 0, invariance: 0, blind: 0 });
  expect(parsed.plan.window).toMatchObject({ minS: 1800 });
});

test('the equipment record is that of the simulated bench', () => {
  expect(parseEquipment(readSample('equipment'))).toMatchObject({ ok: true });
  expect(readSample('equipment')).toEqual(simulatedBenchEquipment);
});

test('TAB-1: the layout of a controller and the parties of a certificate are good', () => {
  expect(parseLayout(readSample('layout'))).toMatchObject({ ok: true });
  expect(parseParties(readSample('parties'))).toMatchObject({ ok: true });
});

test.each(['scenario', 'scenario-faults'] as const)('%s is a bench scenario', (name) => {
  const parsed = scenarioSchema.safeParse(readSample(name));
  expect(parsed.error).toBeUndefined();
  expect(parsed.data?.faults.length === 0).toBe(name === 'scenario');
});

test('EQ-18 EQ-21 the sample of a qualification qualifies the simulated bench, line by line', () => {
  const parsed = parseQualification(readSample('qualification'));
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  expect(parsed.qualification.controller).toEqual(simulatedBenchEquipment.controller);
  expect(parsed.qualification.edgesPerMl).toBeCloseTo(edgesPerMlOf(simulatedBenchEquipment), 9);
  expect(evaluateQualification(parsed.qualification)).toMatchObject({ qualified: true });
});
