import { describe, expect, test } from 'vitest';
import { parsePlan } from '../plan/parse.ts';
import { filledTypes, templateFor } from './fill.ts';
import { ownOfPlan, parseTypeRecord, templateOf, type TypeRecord } from './type-record.ts';

/** As a person writes one: a document, without what is not said. */
const samplePlan = {
  planVersion: 1 as const, name: 'a sweep', order: 'J-1',
  injectors: [{ serialNumber: 'A', type: 'P4', channel: 1 }, { serialNumber: 'B', type: 'P4', channel: 2 }],
  axes: { voltageV: [9, 14], pressureKpa: [300, 400], widthMs: [2, 3, 5], periodMs: [20], replicates: 3 },
  purge: { pulses: 10 },
};

function recordOf(more: object = {}): TypeRecord {
  const parsed = parseTypeRecord({ typeRecordVersion: 1, type: 'P4', ...more });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.record;
}

const problemsIn = (more: object): readonly string[] => {
  const parsed = parseTypeRecord({ typeRecordVersion: 1, type: 'P4', ...more });
  return parsed.ok ? [] : parsed.problems.map(({ path }) => path);
};

describe('EQ-14 a type record', () => {
  test('states what a plan can state of a type, each part by itself', () => {
    const record = recordOf({ staticFlowGPerMin: 240, flowPressureKpa: 300, flowFluid: 'gasoline', flowDensityKgPerM3: 745, resistanceOhm: 14.5, uncertaintyOhm: 0.2, maxVoltageV: 16, maxDutyPercent: 85, drive: 'saturated', notes: 'port' });
    const { typeRecordVersion, flowFluid, notes, ...ofPlan } = record;
    expect([typeRecordVersion, flowFluid, notes]).toEqual([1, 'gasoline', 'port']);
    const parsed = parsePlan({ ...samplePlan, injectors: samplePlan.injectors.map((one) => ({ ...one, type: 'P4' })), types: [ofPlan] });
    expect(parsed.ok ? parsed.plan.types : parsed.problems).toEqual([ofPlan]);
  });

  test.each<[object, readonly string[]]>([
    [{ flowPressureKpa: 300 }, ['staticFlowGPerMin']],
    [{ uncertaintyOhm: 1 }, ['resistanceOhm']],
    [{ kelvinPerWatt: 2, timeConstantS: 4 }, ['uncertaintyKelvinPerWatt']],
    [{ minVoltageV: 16, maxVoltageV: 8 }, ['minVoltageV']],
    [{ type: '' }, ['type']],
    [{ type: 'a\nb' }, ['type']],
    [{ drive: 'piezo' }, ['drive']],
    [{ staticFlow: 240 }, ['staticFlow']],
  ])('refuses %j at %j', (more, paths) => expect(problemsIn(more)).toEqual(paths));
});

describe('EQ-15 a template', () => {
  test('of any plan is what is of no one job, and makes a plan of other injectors', () => {
    const template = templateOf(samplePlan);
    expect(Object.keys(template).filter((part) => ownOfPlan.includes(part))).toEqual([]);
    expect(template).toMatchObject({ axes: samplePlan.axes });
    expect(problemsIn({ template })).toEqual([]);
    expect(problemsIn({ template: templateOf({ ...samplePlan, reduction: { driftCorrection: 'reference' } }) })).toEqual([]);
  });

  test('is refused where it makes no plan, at the path of what is wrong', () => {
    const template = templateOf(samplePlan);
    expect(problemsIn({ template: { ...template, axes: { ...samplePlan.axes, widthMs: [] } } })).toEqual(['template.axes.widthMs']);
    expect(problemsIn({ template: { ...template, order: 'O-1' } })).toEqual(['template.order']);
    expect(problemsIn({ template: { ...template, zeal: 1 } })).toEqual(['template.zeal']);
  });

  test('begins a sweep where all its types have the same one', () => {
    const template = templateOf(samplePlan);
    const records = [recordOf({ template }), recordOf({ type: 'P5', template }), recordOf({ type: 'K2', template: { ...template, settleS: 2 } }), recordOf({ type: 'N' })];
    expect(templateFor(['P4', 'P4'], records)).toEqual(template);
    expect(templateFor(['P4', 'P5'], records)).toEqual(template);
    expect(templateFor(['P4', 'K2'], records)).toBeNull();
    expect(templateFor(['P4', 'N'], records)).toBeNull();
    expect(templateFor(['none'], records)).toBeNull();
    expect(templateFor([], records)).toBeNull();
  });
});

describe('EQ-16 EQ-17 a plan takes from the records of its types', () => {
  const record = recordOf({ staticFlowGPerMin: 240, flowPressureKpa: 300, resistanceOhm: 14.5, uncertaintyOhm: 0.2, maxVoltageV: 16, drive: 'saturated', notes: 'of no plan', flowFluid: 'gasoline' });

  test('what it does not state, and says what that was', () => {
    expect(filledTypes(['P4', 'other', 'P4'], [], [record])).toEqual({
      types: [{ type: 'P4', staticFlowGPerMin: 240, flowPressureKpa: 300, resistanceOhm: 14.5, uncertaintyOhm: 0.2, maxVoltageV: 16, drive: 'saturated' }],
      taken: [{ type: 'P4', fields: ['resistanceOhm', 'uncertaintyOhm', 'staticFlowGPerMin', 'flowPressureKpa', 'maxVoltageV', 'drive'] }],
    });
  });

  test('nothing in the place of what it states, nor beside it where that is one statement', () => {
    const stated = [{ type: 'P4', staticFlowGPerMin: 250, resistanceOhm: 14, maxVoltageV: 15 }];
    expect(filledTypes(['P4'], stated, [record]).types).toEqual([{ ...stated[0], drive: 'saturated' }]);
    expect(filledTypes(['P4'], filledTypes(['P4'], stated, [record]).types, [record]).taken).toEqual([]);
  });

  test('no entry of a type that has no record, and none of one that no injector is of', () => {
    expect(filledTypes(['K2'], [{ type: 'P4', resistanceOhm: 12 }], [record])).toEqual({ types: [{ type: 'P4', resistanceOhm: 12 }], taken: [] });
  });
});
