import { expect, test } from 'vitest';
import { parsePlan } from '../../app/plan/parse.ts';
import { pages } from '../pages/index.ts';
import { exampleParts, guidePlan, nextStep, steps, stepWords, type GuideFacts } from './guide-steps.ts';

const fresh: GuideFacts = { connected: false, mounted: 0, planSaved: false, run: 'none' };

test('WIN-53 the next step is the first that is not done, whoever did the others', () => {
  expect(nextStep(fresh)).toBe('connect');
  expect(nextStep({ ...fresh, connected: true })).toBe('injectors');
  expect(nextStep({ ...fresh, connected: true, mounted: 1 })).toBe('injectors');
  expect(nextStep({ ...fresh, connected: true, mounted: 8 })).toBe('plan');
  expect(nextStep({ ...fresh, connected: true, mounted: 2, planSaved: true })).toBe('start');
  expect(nextStep({ ...fresh, mounted: 2, planSaved: true })).toBe('connect');
  for (const run of ['going-on', 'rests'] as const) expect(nextStep({ ...fresh, run })).toBe('start');
  expect(nextStep({ ...fresh, run: 'ended' })).toBe('result');
});

test('WIN-53 each step has its words and a page', () => {
  const paths = pages.map(({ path }) => path);
  for (const step of steps) expect(paths).toContain(stepWords[step].page);
});

test('WIN-53 the plan of the guide is one that can be used, for the two that are mounted first', () => {
  const parsed = parsePlan(guidePlan([{ serialNumber: 'Z', type: 't', channel: 7 }, { serialNumber: 'N', type: 't', channel: null }, ...exampleParts]));
  if (!parsed.ok) throw new Error(parsed.problems.map(({ text }) => text).join(' '));
  expect(parsed.plan.injectors.map(({ serialNumber }) => serialNumber)).toEqual(['EXAMPLE-1', 'EXAMPLE-2']);
});
