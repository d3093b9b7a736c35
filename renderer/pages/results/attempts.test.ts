import { describe, expect, it } from 'vitest';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import { noErrors, noScatter, syntheticInjector, syntheticWindow } from '../../../app/reduce/synthetic.test-helper.ts';
import type { RunEvent, RunEventBody } from '../../../app/journal/events.ts';
import { foldRun } from '../../../app/journal/fold.ts';
import type { RunState } from '../../../app/journal/state.ts';
import { unixMillis } from '../../../app/quantities/quantity.ts';
import { expandPlan } from '../../../app/plan/expand.ts';
import { attemptKey } from '../../components/attempts.ts';
import { attemptEnds, attemptRows, decisionOn, filtered } from './attempts.ts';
import { budgetOfMass, massSteps } from './budget-view.ts';
import { countingAttempts } from '../../../app/reduce/counting.ts';
import { resultsOf } from '../../../app/results/run-results.ts';
import { countingKey } from './results.ts';
import { endingWords } from '../../../app/run/ending.ts';
import { endingTone, knownEnding } from '../../components/endings.ts';
import { resultsSentence, runText } from './run-text.ts';
import { fourInjectors, syntheticEquipment } from '../../../app/results/synthetic-run.test-helper.ts';

const plan = fourInjectors;
const points = expandPlan(plan);
const windowOf = (index: number) => {
  const point = points[index];
  if (point === undefined) throw new Error('no point');
  return syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, noScatter, () => 0);
};

function journal(bodies: readonly RunEventBody[]): { readonly state: RunState; readonly events: readonly RunEvent[] } {
  const events = [{ kind: 'opened', plan, equipment: syntheticEquipment, operator: 'A. Tester', software: 'test', points: points.length } as const, ...bodies].map(
    (body, seq): RunEvent => ({ seq, at: unixMillis(1e12 + seq * 1000), body }),
  );
  let state: RunState | null = null;
  for (const { body } of events) state = foldRun(state, body);
  if (state === null) throw new Error('no state');
  return { state, events };
}

const measured: readonly RunEventBody[] = [
  { kind: 'attempt-started', point: 0, attempt: 1, reason: 'plan' },
  { kind: 'attempt-ended', point: 0, attempt: 1, verdict: 'rejected', window: windowOf(0), criteria: [{ rule: 'RUN-62', passed: false, text: 'pressure' }], text: 'Pressure was off.' },
  { kind: 'attempt-started', point: 0, attempt: 2, reason: 'repeat' },
  { kind: 'attempt-ended', point: 0, attempt: 2, verdict: 'accepted', window: windowOf(0), criteria: [], text: '' },
  { kind: 'chosen', point: 0, attempt: 2, by: { rule: 'RUN-35' }, why: 'It is the first accepted attempt.' },
  { kind: 'attempt-started', point: 1, attempt: 1, reason: 'plan' },
  { kind: 'attempt-ended', point: 1, attempt: 1, verdict: 'cut', window: null, criteria: [], text: 'Paused.' },
];

describe('attempts', () => {
  it('are all listed, with which counts and why', () => {
    const { state, events } = journal(measured);
    const rows = attemptRows(state, points);
    expect(rows.map((r) => [r.key, r.verdict, r.counts])).toEqual([['0/1', 'rejected', false], ['0/2', 'accepted', true], ['1/1', 'cut', false]]);
    expect(rows[0]?.choice).toBe('Attempt 2 counts: It is the first accepted attempt.');
    const end = attemptEnds(events).get(attemptKey(0, 1));
    expect(end?.at).toBe(1e12 + 2000);
    expect(end?.seq).toBe(events.findIndex((event) => event.body.kind === 'attempt-ended'));
  });
  it('a decision of a person is told with name and reason, and changes what counts', () => {
    const { state: before } = journal(measured);
    const keyBefore = countingKey(before);
    const { state } = journal([...measured, { kind: 'chosen', point: 0, attempt: null, by: { person: 'B. Checker' }, why: 'A bubble.' }]);
    const [row] = attemptRows(state, points);
    expect(row).toMatchObject({ counts: false, byPerson: true, choice: 'None counts: decided by B. Checker, because: A bubble.' });
    expect(countingAttempts(before).map(({ point, attempt }) => [point, attempt])).toEqual([[0, 2]]);
    expect(countingAttempts(state)).toEqual([]);
    expect(countingKey(state)).not.toBe(keyBefore);
  });
  it('the one that counts can be excluded, another with a window can count, one without cannot', () => {
    const rows = attemptRows(journal(measured).state, points);
    expect(rows.map((r) => decisionOn(r))).toEqual([
      { attempt: 1, label: 'Let attempt 1 count', against: '' },
      { attempt: null, label: 'Exclude: let no attempt of this point count', against: '' },
      { attempt: 1, label: 'Let attempt 1 count', against: 'It has no measuring window, so it cannot count.' },
    ]);
  });
  it('are filtered by what counts, by decision, injector and voltage', () => {
    const rows = attemptRows(journal(measured).state, points);
    const keys = (shown: Parameters<typeof filtered>[1]['shown'], injector: number | null = null, voltage: number | null = null): readonly string[] =>
      filtered(rows, { shown, injector, voltage }).map((r) => r.key);
    expect(keys('all')).toEqual(['0/1', '0/2', '1/1']);
    expect(keys('counting')).toEqual(['0/2']);
    expect(keys('not-counting')).toEqual(['0/1', '1/1']);
    expect(keys('decided')).toEqual([]);
    expect(keys('all', 3)).toEqual([]);
    expect(keys('all', null, rows[0]?.at.voltage)).toEqual(['0/1', '0/2', '1/1']);
  });
});

describe('budget of a mass', () => {
  const [point] = points;
  if (point === undefined) throw new Error('no point');
  const mass = massPerPulse(point, windowOf(0), syntheticEquipment, plan.reduction, null);
  if (mass.kind !== 'mass') throw new Error('no mass');
  const budget = budgetOfMass(mass, syntheticEquipment);
  it('its shares are the whole, and every line says what it is and where it comes from', () => {
    expect(budget.rows.reduce((sum, r) => sum + r.sharePercent, 0)).toBeCloseTo(100, 6);
    for (const r of budget.rows) expect(r.meaning).not.toBe('');
    expect(budget.rows.find((r) => r.source === 'meter K-factor')?.meaning).toContain('certificate C-1 of 2026-01-05');
  });
  it('temperatures are estimated in degrees Celsius and uncertain in kelvin', () => {
    expect(budget.rows.find((r) => r.source === 'rail temperature')).toMatchObject({ estimate: '20.00 °C', u: '0.10 K' });
  });
  it('the last step states U95 as the product of what stands before it', () => {
    expect(budget.steps.at(-1)).toMatch(/^Expanded uncertainty U95 = \d\.\d\d × \S+ % = \S+ % of the mass\.$/);
    expect(massSteps(mass, (kg) => `${(kg * 1e6).toFixed(3)} mg`).at(-1)).toBe(`Result: ${(mass.mass * 1e6).toFixed(3)} mg.`);
  });
});

describe('runs in words', () => {
  it('WIN-12, WIN-18 say what they are, how far they are and how they ended', () => {
    const { state } = journal([...measured, { kind: 'ended', ending: 'finished-early', text: '' }]);
    expect(runText(state, null, true)).toBe(`Synthetic · by A. Tester · 1 of ${points.length} points valid · finished early`);
    // WIN-18: the journal is still being read.
    expect(runText(state, null, false)).toBe('Synthetic · by A. Tester');
    expect(endingWords(knownEnding('complete-with-failures'))).toBe('complete, with failed points');
    expect(endingWords(knownEnding('something else'))).toBe('unfinished');
    // Only a whole result is marked as good.
    expect((['complete', 'complete-with-failures', 'finished-early', 'aborted', 'emergency-stopped', null] as const).map(endingTone)).toEqual(['good', 'note', 'note', 'note', 'note', 'note']);
  });
  it('say how many lines are there', () => {
    expect(resultsSentence(resultsOf({ id: 'run', plan, equipment: syntheticEquipment, points, attempts: [] }))).toMatch(/^0 of 12 lines/);
  });
});
