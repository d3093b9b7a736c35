import { expect, test } from 'vitest';
import { parseEquipment } from '../equipment/parse.ts';
import { parsePlan } from '../plan/parse.ts';
import { asStored } from '../plan/stored.ts';
import { oneLine, shown, shownThroughout } from './text.ts';

const examplePlan = {
  planVersion: 1,
  name: 'A plan',
  injectors: [{ serialNumber: 'A1', type: 'T', channel: 1 }],
  axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [2, 5, 12], periodMs: [20], replicates: 3 },
};
const hostile = ['a\nb', 'a\rb', 'a\u001b[2Jb', 'a\tb', 'a\u0085b', 'a\u2028b', 'a\u202eb', 'a\u2066b', 'a\u0000b'];

test.each(hostile)('PLAN-70 a name with a control character is refused (case %#)', (name) => {
  expect(oneLine(60).safeParse(name).success).toBe(false);
  expect(shown(name)).toMatch(/^a\ufffd.*b$/);
  for (const document of [{ ...examplePlan, name }, { ...examplePlan, order: name }, { ...examplePlan, injectors: [{ ...examplePlan.injectors[0], serialNumber: name }] }]) {
    const parsed = parsePlan(document);
    if (parsed.ok) throw new Error('it was taken');
    expect(parsed.problems[0]?.text).toMatch(/^This must be a text of one line, without line breaks and other control characters, but it is the text "a\ufffd/);
  }
});

test.each(['K-factor µ 5 °C', 'Ölprüfstand 3', '試験', '𝛼', "O'Brien = 4"])('PLAN-70 any other name is taken: %s', (name) => {
  expect(parsePlan({ ...examplePlan, name }).ok).toBe(true);
  expect(shown(name)).toBe(name);
});

test('PLAN-70 a stored plan with such a name is read, with a sign in its place', () => {
  const parsed = parsePlan(asStored({ ...examplePlan, name: 'a\nb' }));
  expect(parsed.ok && parsed.plan.name).toBe('a\ufffdb');
});

test('PLAN-70 an equipment record with such a name is refused', () => {
  const parsed = parseEquipment({ equipmentVersion: 1, name: 'a\u001bb' });
  expect(parsed.ok ? [] : parsed.problems.filter(({ path }) => path === 'name')).toHaveLength(1);
});

test('a document without control characters stays the same object', () => {
  const document = { list: ['a', { b: 'c' }], number: 3, nothing: null };
  expect(shownThroughout(document)).toBe(document);
  expect(shownThroughout({ list: ['a\n', { b: '\u001b' }] })).toEqual({ list: ['a\ufffd', { b: '\ufffd' }] });
});
