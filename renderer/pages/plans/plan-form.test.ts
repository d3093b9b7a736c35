import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { planJsonSchema } from '../../../app/plan/json-schema.ts';
import { parsePlan } from '../../../app/plan/parse.ts';
import { planSchema } from '../../../app/plan/plan.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import { inThrees } from '../../components/figures.ts';
import { choiceWords, fieldAt, foldedPaths, openPaths, schemaLeaves, singlePaths, withFieldNames } from './fields.ts';
import type { FieldPath } from './fields.ts';
import { documentOf, formOf, placesOf, samePlan, unreadIn } from './plan-form.ts';

interface Node {
  readonly type?: string;
  readonly const?: unknown;
  readonly properties?: Readonly<Record<string, Node>>;
  readonly required?: readonly string[];
  readonly items?: Node;
  readonly minItems?: number;
  readonly enum?: readonly string[];
  readonly pattern?: string;
  readonly minimum?: number;
  readonly maximum?: number;
  readonly exclusiveMinimum?: number;
  readonly minLength?: number;
  readonly maxLength?: number;
}

/** Documents that the published JSON Schema allows, made from it alone. */
function documents(node: Node): fc.Arbitrary<unknown> {
  if (node.const !== undefined) return fc.constant(node.const);
  if (node.enum !== undefined) return fc.constantFrom(...node.enum);
  switch (node.type) {
    case 'object': {
      const properties = Object.entries(node.properties ?? {});
      return fc.record(Object.fromEntries(properties.map(([name, child]) => [name, documents(child)])), { requiredKeys: [...(node.required ?? [])] });
    }
    case 'array':
      return fc.array(documents(node.items ?? {}), { minLength: node.minItems ?? 0, maxLength: 5 });
    case 'integer':
      return fc.integer({ min: node.minimum ?? -1000, max: Math.min(node.maximum ?? 1000, 0xffffffff) });
    case 'number':
      return fc.double({
        min: node.minimum ?? (node.exclusiveMinimum === undefined ? -1e300 : Number.MIN_VALUE),
        max: node.maximum ?? 1e300,
        noNaN: true,
      });
    case 'string':
      return node.pattern === undefined
        ? fc.string({ minLength: node.minLength ?? 0, maxLength: node.maxLength ?? 60, unit: 'binary' })
        : fc
            .stringMatching(new RegExp(node.pattern, 'u'))
            .map((text) => text.slice(0, node.maxLength).padEnd(node.minLength ?? 0, 'x'));
    default:
      throw new Error(`no documents of ${String(node.type)}`);
  }
}

/** The two rules inside a guard that JSON Schema cannot tell. */
function withGoodGuards(document: unknown): unknown {
  const made = document as { guards?: { low?: number; high?: number }[] };
  for (const guard of made.guards ?? []) {
    if (guard.low === undefined && guard.high === undefined) guard.high = 1;
    if (guard.low !== undefined && guard.high !== undefined) {
      const [low, high] = [Math.min(guard.low, guard.high), Math.max(guard.low, guard.high)];
      guard.low = low;
      guard.high = low === high ? low + Math.max(1, Math.abs(low)) : high;
    }
  }
  return made;
}

const plans: fc.Arbitrary<Plan> = documents(planJsonSchema() as Node).map((document) => planSchema.parse(withGoodGuards(document)));

describe('form and plan', () => {
  test('every plan that the schema allows comes back from the form as it was', () => {
    fc.assert(
      fc.property(plans, (plan) => {
        const read = formOf(plan);
        expect(read.leftOut).toEqual([]);
        expect(planSchema.parse(documentOf(read.form))).toEqual(plan);
        expect(samePlan(read.form, formOf(planSchema.parse(documentOf(read.form))).form)).toBe(true);
      }),
      { numRuns: 300 },
    );
  });

  test.each(['plan', 'small-plan'])('the sample %s comes back as it was', (name) => {
    const document = JSON.parse(sampleFile(name)) as unknown;
    expect(planSchema.parse(documentOf(formOf(document).form))).toEqual(planSchema.parse(document));
  });

  test('an empty field takes the default of the plan', () => {
    const { form } = formOf(planSchema.parse(JSON.parse(sampleFile('small-plan'))));
    const emptied = documentOf({ ...form, texts: { ...form.texts, settleS: '', 'window.maxS': ' ' } });
    expect(parsePlan(emptied)).toMatchObject({ ok: true, plan: { settleS: 1, window: { maxS: 60, minS: 0.8 } } });
  });

  test('what was typed wrong is told at its path', () => {
    const { form } = formOf(planSchema.parse(JSON.parse(sampleFile('small-plan'))));
    const first = form.injectors[0];
    if (first === undefined) throw new Error('the sample has injectors');
    const parsed = parsePlan(
      documentOf({
        ...form,
        texts: { ...form.texts, 'window.minS': '0,8,1', 'link.telemetryHz': '1e999' },
        axes: { ...form.axes, widthMs: ['3', 'x'] },
        injectors: [{ ...first, channel: '' }],
        hasReference: true,
      }),
    );
    expect(parsed.ok ? [] : parsed.problems.map(({ path }) => path).toSorted()).toEqual(
      ['window.minS', 'link.telemetryHz', 'axes.widthMs[1]', 'injectors[0].channel', 'reference.injector', 'reference.voltageV', 'reference.pressureKpa', 'reference.widthMs', 'reference.periodMs', 'reference.everyPoints'].toSorted(),
    );
    expect(parsed.ok ? '' : parsed.problems.find(({ path }) => path === 'window.minS')?.text).toContain('"0,8,1"');
  });

  test('digits stay as typed in the form', () => {
    const { form } = formOf({ axes: { voltageV: ['10.50'] }, settleS: '1.0' });
    expect(form.axes.voltageV).toEqual(['10.50']);
    expect(form.texts.settleS).toBe('1.0');
  });

  test('a foreign document is taken over as far as there are fields, and the rest is named', () => {
    const { form, leftOut } = formOf({ name: 'N', colour: 'red', window: { minS: true, minutes: 3 }, guards: [7, { id: 'g', tone: 1 }], axes: { widthMs: [1, null], zeal: 4 }, injectors: 3 });
    expect(form.texts.name).toBe('N');
    expect(form.axes.widthMs).toEqual(['1', '']);
    expect(leftOut.map(({ path }) => path).toSorted()).toEqual(
      ['colour', 'window.minS', 'window.minutes', 'guards[0]', 'guards[1].tone', 'axes.widthMs[1]', 'axes.zeal', 'injectors'].toSorted(),
    );
  });

  test('any document is read without falling over', () => {
    fc.assert(
      fc.property(fc.jsonValue(), (document) => {
        documentOf(formOf(document).form);
      }),
    );
    for (const document of [null, undefined, 3, 'x', []]) expect(formOf(document).leftOut).toHaveLength(1);
  });
});

describe('fields', () => {
  test('every field of the schema has label, help and range; every choice has its words', () => {
    for (const { path } of schemaLeaves) {
      const field = fieldAt(path as FieldPath);
      expect(field.label).not.toBe('');
      expect(field.help).toMatch(/[.]$/u);
      expect(field.range).not.toBe('');
    }
    for (const { path, node } of schemaLeaves) {
      if (node.enum !== undefined) expect(Object.keys(choiceWords[path as FieldPath] ?? {})).toEqual(node.enum);
    }
  });

  test('every field that stands alone has one place in the form', () => {
    expect([...Object.values(openPaths), ...Object.values(foldedPaths)].flat().toSorted()).toEqual(singlePaths.toSorted());
  });

  test.each([
    ['axes.widthMs', 'more than 0\u00a0ms'],
    ['axes.replicates', 'whole number, 1 to 1000'],
    ['window.maxS', 'more than 0, up to 86400\u00a0s'],
    ['settleS', '0 to 86400\u00a0s'],
    ['accept.temperatureMinC', 'any number'],
    ['guards[].maxResumes', 'whole number, 0 or more'],
    ['name', 'not empty, up to 120 characters'],
    ['order', 'up to 120 characters'],
  ] as const)('the range of %s', (path, range) => expect(fieldAt(path).range).toBe(range));

  test('a problem is shown at the nearest field there is', () => {
    expect(placesOf('axes.widthMs[3]')).toEqual(['axes.widthMs[3]', 'axes.widthMs', 'axes', '']);
    expect(placesOf('guards[0]')).toEqual(['guards[0]', 'guards', '']);
    expect(placesOf('')).toEqual(['']);
  });
});

function sampleFile(name: string): string {
  return readFileSync(new URL(`../../../main/samples/${name}.json`, import.meta.url), 'utf8');
}

describe('WIN-1: numbers in the plan editor', () => {
  const { form } = formOf({ planVersion: 1, name: 'p', injectors: [{ serialNumber: '1', type: 't', channel: 1, coilResistanceOhm: 12 }], types: [{ type: 't', kelvinPerWatt: 1 }], axes: { voltageV: [12] }, guards: [{ id: 'a', signal: 'current-a', high: 4, level: 'trip' }] });

  test('WIN-151 the axes of a wanted map are lists of the form, and without any of it no map is wanted', () => {
    const map = { voltageV: [9, 12.5], pressureKpa: [350], deadTimeUs: 4, atVoltage: [{ voltageV: 9, deadTimeUs: 6 }] };
    const { form: wanting, leftOut } = formOf({ planVersion: 1, targets: { map } });
    expect(leftOut).toEqual([]);
    expect(wanting.axes).toMatchObject({ mapVoltageV: ['9', '12.5'], mapPressureKpa: ['350'] });
    expect(documentOf(wanting)['targets']).toEqual({ map });
    expect(documentOf({ ...wanting, axes: { ...wanting.axes, mapPressureKpa: ['3,5'] } })['targets']).toEqual({ map: { ...map, pressureKpa: [3.5] } });
    expect(unreadIn({ ...wanting, axes: { ...wanting.axes, mapVoltageV: ['x'] } }).map(({ path }) => path)).toEqual(['targets.map.voltageV[0]']);
    expect(documentOf(form)).not.toHaveProperty('targets');
    // A draft that was kept before there were such lists.
    const { voltageV, pressureKpa, widthMs, periodMs } = form.axes;
    expect(documentOf({ ...form, axes: { voltageV, pressureKpa, widthMs, periodMs } })).toEqual(documentOf(form));
    expect(formOf({ planVersion: 1, targets: { map: { ...map, colour: 1 } } }).leftOut.map(({ path }) => path)).toEqual(['targets.map.colour']);
  });

  test('a comma is a point, in single fields, tables and axes', () => {
    const typed = { ...form, texts: { ...form.texts, settleS: '1,5' }, axes: { ...form.axes, voltageV: ['9,5'] }, injectors: form.injectors.map((row) => ({ ...row, coilResistanceOhm: '12,4' })), types: form.types.map((row) => ({ ...row, kelvinPerWatt: '1,4' })), guards: form.guards.map((row) => ({ ...row, high: '4,5' })) };
    expect(documentOf(typed)).toMatchObject({ settleS: 1.5, axes: { voltageV: [9.5] }, injectors: [{ coilResistanceOhm: 12.4 }], types: [{ type: 't', kelvinPerWatt: 1.4 }], guards: [{ high: 4.5 }] });
    expect(unreadIn(typed)).toEqual([]);
  });

  test('what cannot be read is named at its field in the words of the page, and stays', () => {
    const typed = { ...form, texts: { ...form.texts, settleS: '1.000,5' }, injectors: form.injectors.map((row) => ({ ...row, coilResistanceOhm: '12 ohm' })), types: form.types.map((row) => ({ ...row, timeConstantS: '4 s' })), guards: form.guards.map((row) => ({ ...row, high: '4 A' })) };
    expect(unreadIn(typed).map(({ path }) => path)).toEqual(['settleS', 'injectors[0].coilResistanceOhm', 'types[0].timeConstantS', 'guards[0].high']);
    expect(unreadIn(typed)[0]?.text).toContain('"1.000,5" cannot be read as one number');
    expect(documentOf(typed)).toMatchObject({ settleS: '1.000,5' });
  });
});

describe('words about a plan', () => {
  test('WIN-115 call a field as the form calls it, and in threes by blanks', () => {
    expect(withFieldNames('Set zero.windowS to 36 for the wanted uncertainty, or allow more in zero.deadTimeUs. No.field, 1.5 and zero.nothing stay.')).toBe(
      'Set "Zero flow for" to 36 for the wanted uncertainty, or allow more in "Unseen leak may move dead time by". No.field, 1.5 and zero.nothing stay.',
    );
    expect(withFieldNames('The record states no least flow (meter.leastHertz), so (1.5) it is.')).toBe('The record states no least flow, so (1.5) it is.');
    expect([7, 999, 1000, 17_316, 1_234_567].map(inThrees)).toEqual(['7', '999', '1\u202f000', '17\u202f316', '1\u202f234\u202f567']);
  });
});
