/** The scenarios that can be chosen by name, each carried out by a run. */
import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../app/journal/events.ts';
import type { RunState } from '../../app/journal/state.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';
import { imperfectionFields, namedScenarios } from '../../firmware-protocol/simulator/named-scenarios.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';

const named = (name: string) => {
  const found = namedScenarios.find((one) => one.name === name);
  if (found === undefined) throw new Error(`no scenario ${name}`);
  return scenario(found.document as Parameters<typeof scenario>[0]);
};
const small = samplePlan('small-plan', withoutLeakChecks);
const kinds = (events: readonly RunEventBody[]): readonly string[] => events.map(({ kind }) => kind);
const verdicts = (events: readonly RunEventBody[]): readonly string[] => events.flatMap((event) => (event.kind === 'attempt-ended' ? [event.verdict] : []));

describe('SCN-4', () => {
  it('each has a name and words of its own, and is a scenario', () => {
    expect(new Set(namedScenarios.map(({ name }) => name)).size).toBe(namedScenarios.length);
    for (const { name, text, document } of namedScenarios) {
      expect(text, name).toMatch(/^[A-Z].{20,}\.$/u);
      expect(scenarioSchema.safeParse({ scenarioVersion: 1, name, ...document }).success, name).toBe(true);
    }
  });

  it('each number that can be chosen is one of the scenario, up to its most', () => {
    for (const { path, max } of imperfectionFields) {
      for (const value of [0, max]) expect(scenarioSchema.safeParse({ scenarioVersion: 1, imperfections: { [path]: value } }).success, path).toBe(true);
    }
  });

  it('a sound bench: every point is accepted at once', async () => {
    const { rest, events } = await runInProcess({ plan: small, scenario: named('A sound bench') });
    expect(rest).toMatchObject({ mode: 'ended' });
    expect(new Set(verdicts(events))).toEqual(new Set(['accepted']));
  });

  it('emergency stop pressed: the run trips and waits for a person', async () => {
    const { rest, state } = await runInProcess({ plan: small, scenario: named('Emergency stop pressed') });
    expect(rest).toMatchObject({ mode: 'tripped' });
    expect(state.counts.accepted).toBeGreaterThan(0);
  });

  it('a controller that restarts: an attempt is cut short, the bench proves itself again, and the run ends whole', async () => {
    const { rest, state, events } = await runInProcess({ plan: small, scenario: named('A controller that restarts') });
    expect(rest).toMatchObject({ mode: 'ended' });
    expect(verdicts(events)).toContain('cut');
    expect(kinds(events).filter((kind) => kind === 'dead-man-proved')).toHaveLength(2);
    expect(state.counts.accepted).toBe(state.setPoints.length);
  });

  /** Edges of the meter for each pulse, of the attempt that counts, point by point. */
  const edgesPerPulse = (state: RunState): readonly number[] =>
    state.setPoints.flatMap(({ role }, index) => {
      const record = state.points.at(index);
      const window = record?.chosen == null ? null : record.attempts[record.chosen - 1]?.window;
      return role !== 'measure' || window == null || window.pulses === 0 ? [] : [(window.edges - 1) / (window.lastEdgeAt - window.firstEdgeAt)];
    });
  const means = async (name: string) => edgesPerPulse((await runInProcess({ plan: small, scenario: named(name) })).state);

  it('a clogged injector gives 60 % of its flow, the other all of it', async () => {
    const [sound, clogged] = [await means('A sound bench'), await means('A clogged injector')];
    expect(clogged).toHaveLength(sound.length);
    const ratios = clogged.map((rate, i) => rate / (sound[i] ?? NaN)).toSorted((a, b) => a - b);
    const half = ratios.length / 2;
    for (const ratio of ratios.slice(0, half)) expect(ratio).toBeCloseTo(0.6, 1);
    for (const ratio of ratios.slice(half)) expect(ratio).toBeCloseTo(1, 1);
  });

  it('a meter that drifts, with coils that warm, reads otherwise than a sound one', async () => {
    const [sound, drifting] = [await means('A sound bench'), await means('A meter that drifts, coils that warm')];
    expect(drifting).toHaveLength(sound.length);
    expect(drifting).not.toEqual(sound);
  });

  it('a leaking injector: the meter turns while nothing is driven', async () => {
    const withZero = samplePlan('small-plan');
    const idle = async (name: string): Promise<number> => {
      const { state } = await runInProcess({ plan: withZero, scenario: named(name) });
      return state.setPoints.reduce((most, { role }, index) => (role === 'zero' ? Math.max(most, state.points.at(index)?.attempts.at(-1)?.window?.edges ?? 0) : most), 0);
    };
    expect(await idle('A leaking injector')).toBeGreaterThan(await idle('A sound bench'));
  });

  it('rail pressure lost for a while, whenever the run is begun: a window is rejected, a guard holds the run, and it goes on by itself and ends whole', async () => {
    // One point after another, so that thirty bursts are reached.
    const plan = samplePlan('small-plan', (one) => ({ ...withoutLeakChecks(one), axes: { ...one.axes, replicates: 3 } }));
    const { events, rest } = await runInProcess({ plan, scenario: named('Rail pressure lost for a while') });
    expect(verdicts(events)).toContain('rejected');
    expect(kinds(events)).toContain('held');
    expect(rest).toMatchObject({ mode: 'ended' });
  });

  it('an injector that does not open: none of its points has a result, those of the other have', async () => {
    const { state } = await runInProcess({ plan: small, scenario: named('An injector that does not open') });
    const accepted = (injector: number): number => state.setPoints.filter((point, index) => point.role === 'measure' && point.injector === injector && state.points.at(index)?.chosen != null).length;
    expect(accepted(0)).toBeGreaterThan(0);
    expect(accepted(1)).toBe(0);
  });

  it('a bad line: the run ends with every point accepted', async () => {
    const { state, rest } = await runInProcess({ plan: small, scenario: named('A bad line') });
    expect(rest).toMatchObject({ mode: 'ended' });
    expect(state.counts.accepted).toBe(state.setPoints.length);
  });
});
