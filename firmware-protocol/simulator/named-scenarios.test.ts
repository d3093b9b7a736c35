/** The scenarios that can be chosen by name, each carried out by a run. */
import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../app/journal/events.ts';
import { runInProcess, samplePlan, scenario, withoutLeakChecks } from '../../test/builders/in-process.ts';
import { imperfectionFields, namedScenarios } from './named-scenarios.ts';
import { scenarioSchema } from './plant/scenario.ts';

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

  it.each([
    ['Emergency stop pressed', 'tripped'],
    ['A controller that restarts', 'paused'],
  ])('%s: the run comes to rest and waits for a person', async (name, mode) => {
    const { rest, state } = await runInProcess({ plan: small, scenario: named(name) });
    expect(rest.mode).toBe(mode);
    expect(state.counts.accepted).toBeGreaterThan(0);
  });

  it('rail pressure lost for a while: what was measured meanwhile is held or rejected, and the run ends whole', async () => {
    const { events, rest } = await runInProcess({ plan: small, scenario: named('Rail pressure lost for a while') });
    expect(kinds(events).includes('held') || verdicts(events).some((verdict) => verdict !== 'accepted')).toBe(true);
    expect(rest.mode).toBe('ended');
  });

  it('an injector that does not open: none of its points has a result, those of the other have', async () => {
    const { state } = await runInProcess({ plan: small, scenario: named('An injector that does not open') });
    const accepted = (injector: number): number => state.setPoints.filter((point, index) => point.role === 'measure' && point.injector === injector && state.points.at(index)?.chosen != null).length;
    expect(accepted(0)).toBeGreaterThan(0);
    expect(accepted(1)).toBe(0);
  });

  it('a bad line: the run ends with every point accepted', async () => {
    const { state, rest } = await runInProcess({ plan: small, scenario: named('A bad line') });
    expect(rest.mode).toBe('ended');
    expect(state.counts.accepted).toBe(state.setPoints.length);
  });
});
