/** Leaks on the simulated bench, from the scenario to the readings in the journal. */
import { describe, expect, test } from 'vitest';
import { expandPlan } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { kFactorAt } from '../../app/reduce/mass.ts';
import type { RunState } from '../../app/journal/state.ts';
import { leakOfDecay } from '../../app/reduce/pressure-decay.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { trueLeak } from '../../firmware-protocol/simulator/truth.ts';
import { reduction, runInProcess, sampleEquipment, samplePlan, scenario } from '../builders/in-process.ts';

/** Two injectors, two voltages, three widths: three zero points and two period pairs. */
const plan = (): Plan =>
  samplePlan('small-plan', (small) => ({ ...small, zero: { ...small.zero, windowS: 40, settleS: 3 }, window: { minEdges: 120, minS: 1, maxS: 30 } }));

type Role = ReturnType<typeof expandPlan>[number]['role'];

function windowsOf(state: RunState, role: Role): readonly WindowSummary[] {
  return expandPlan(state.plan).flatMap((point) => {
    const record = state.points.at(point.index);
    const window = point.role === role ? record?.attempts.find(({ attempt }) => attempt === record.chosen)?.window : null;
    return window == null ? [] : [window];
  });
}

/** Mean of the true leak over a window, mL/min. The controller of the simulated bench starts with the bench. */
function truthIn(bench: Scenario, window: WindowSummary): number {
  const steps = 40;
  let sum = 0;
  for (let i = 0; i < steps; i += 1) sum += trueLeak(bench, window.from + ((i + 0.5) / steps) * (window.to - window.from), window.pressure.mean / 1e3);
  return sum / steps;
}

const edgesPerMillilitre = (hertz: number): number => kFactorAt(sampleEquipment().meter, hertz) / 1e6;

const leaks: readonly (readonly [string, Scenario['faults']])[] = [
  ['none', []],
  ['constant, at an injector', [{ begins: { atS: 0 }, fault: { kind: 'injector-leaking', channel: 2, mlPerMin: 0.8 } }]],
  ['growing, at a fitting, as a narrow gap', [{ begins: { atS: 0 }, fault: { kind: 'fitting-leaking', mlPerMin: 0.1, growsMlPerMinPerH: 60, law: 'laminar' } }]],
  ['beginning in mid run', [{ begins: { atS: 70 }, fault: { kind: 'injector-leaking', channel: 1, mlPerMin: 3 } }]],
];

describe('zero points', () => {
  test.each(leaks)('RUN-103 read what leaks: %s', async (_, faults) => {
    const bench = scenario({ seed: 5, faults: [...faults] });
    const { state, verified } = await runInProcess({ plan: plan(), scenario: bench });
    expect(verified).toBe(true);
    expect(state.ending).toBe('complete');
    const windows = windowsOf(state, 'zero');
    expect(windows).toHaveLength(3);
    for (const window of windows) {
      const time = window.to - window.from;
      const truth = truthIn(bench, window);
      const perMillilitre = edgesPerMillilitre(window.edges / time);
      const [least, most] = [window.edges - 1, window.edges + 1].map((edges) => (edges / perMillilitre / time) * 60);
      expect(least).toBeLessThanOrEqual(truth);
      expect(most).toBeGreaterThanOrEqual(truth);
    }
  });

  test('PLAN-43 a period pair differs from its measure points by what leaks in a period', async () => {
    const bench = scenario({ seed: 5, noise: false, faults: [{ begins: { atS: 0 }, fault: { kind: 'fitting-leaking', mlPerMin: 2 } }] });
    const { state } = await runInProcess({ plan: plan(), scenario: bench });
    const points = expandPlan(state.plan);
    const { windows } = reduction(state);
    const pairs = windows.filter(({ at }) => at.role === 'pair');
    expect(pairs).toHaveLength(2);
    for (const pair of pairs) {
      const once = windows.find(({ at }) => at.role === 'measure' && at.injector === pair.at.injector && at.voltage === pair.at.voltage && at.width === pair.at.width);
      if (pair.outcome.kind !== 'mass' || once?.outcome.kind !== 'mass') throw new Error('a window has no mass');
      const volume = (pair.outcome.measured - once.outcome.measured) / pair.outcome.meterDensity;
      const leak = (volume / (pair.at.period - once.at.period)) * 60e6;
      expect(Math.abs(leak / 2 - 1)).toBeLessThan(0.1);
    }
    expect(points.filter(({ role }) => role === 'pair')).toHaveLength(2);
  });
});

describe('pressure decay', () => {
  /** As the meter with a least flow of 2 Hz is written down. */
  const silent = (): ReturnType<typeof sampleEquipment> => {
    const equipment = sampleEquipment();
    return { ...equipment, meter: { ...equipment.meter, leastHertz: 2 } };
  };
  const decays = (state: RunState) => windowsOf(state, 'zero').flatMap(({ decay }) => (decay === undefined ? [] : [decay]));
  const small = (): Plan => ({ ...plan(), zero: { ...plan().zero, windowS: 10, decayS: 20 } });

  test.each([
    ['none', []],
    ['0.3 mL/min, of which the meter sees nothing', [{ begins: { atS: 0 }, fault: { kind: 'injector-leaking', channel: 2, mlPerMin: 0.3 } }]],
    ['growing, as a narrow gap, while the fluid warms up', [
      { begins: { atS: 0 }, fault: { kind: 'fitting-leaking', mlPerMin: 0.05, growsMlPerMinPerH: 10, law: 'laminar' } },
      { begins: { atS: 20 }, fault: { kind: 'over-temperature', riseC: 1.5 } },
    ]],
  ] as readonly (readonly [string, Scenario['faults']])[])('RUN-107 finds the leak within its uncertainty: %s', async (_, faults) => {
    const bench = scenario({ seed: 9, meterLeastHertz: 2, faults: [...faults] });
    const { state, verified, events } = await runInProcess({ plan: small(), scenario: bench, equipment: silent() });
    expect(verified).toBe(true);
    expect(state.ending).toBe('complete');
    const found = decays(state);
    expect(found).toHaveLength(3);
    for (const decay of found) {
      const leak = leakOfDecay(decay, state.equipment);
      const truth = trueLeak(bench, (decay.from + decay.to) / 2, decay.pressure / 1e3);
      expect(Math.abs((leak?.leak ?? Number.NaN) * 60e6 - truth)).toBeLessThan(3 * (leak?.u ?? 0) * 60e6);
      expect((leak?.u ?? 1) * 60e6).toBeLessThan(0.1);
    }
    expect(windowsOf(state, 'zero').every(({ edges }) => edges <= 1)).toBe(true);
    expect(events.some((event) => event.kind === 'attempt-ended' && /a leak of -?0\.\d+ \+\/- 0\.0\d+ mL\/min/.test(event.text))).toBe(true);
  });

  test('PRE-32 a bench that cannot shut its rail off says how small a leak goes unseen, and measures all the same', async () => {
    const bench = scenario({ seed: 9, meterLeastHertz: 2, rail: { pump: false, relief: false, shutOff: false } });
    const { state } = await runInProcess({ plan: small(), scenario: bench, equipment: silent() });
    expect(state.ending).toBe('complete');
    expect(decays(state)).toEqual([]);
    expect(state.preflight.find(({ rule }) => rule === 'PRE-32')).toMatchObject({ result: 'warn' });
    expect(state.preflight.find(({ rule }) => rule === 'PRE-32')?.text).toMatch(/cannot see a leak of less than 2\.5\d* mL\/min.*cannot shut its rail off/);
  });
});

describe('guards', () => {
  test('the leak guard of the sample plan stops a run on a bench that leaks, at the first zero point', async () => {
    const bench = scenario({ seed: 5, faults: [{ begins: { atS: 0 }, fault: { kind: 'injector-leaking', channel: 3, mlPerMin: 2 } }] });
    const { state, events } = await runInProcess({ plan: samplePlan('plan'), scenario: bench });
    expect(state.mode).toBe('tripped');
    expect(events.find((event) => event.kind === 'tripped')).toMatchObject({ guard: 'leak' });
    const points = expandPlan(state.plan);
    const started = events.flatMap((event) => (event.kind === 'attempt-started' ? [points[event.point]?.role] : []));
    // Only the first look at the injectors comes before it.
    expect(started.filter((role) => role !== 'look')).toEqual(['zero']);
  });

  test('RUN-109 a change of pressure in mid run is no leak to it', async () => {
    const sample = samplePlan('plan');
    const two: Plan = {
      ...plan(),
      axes: { ...plan().axes, pressureKpa: [300, 450] },
      guards: sample.guards.filter(({ id }) => id === 'leak'),
    };
    const { state, events } = await runInProcess({ plan: two, scenario: scenario({ seed: 5 }) });
    expect(state.ending).toBe('complete');
    expect(events.some((event) => event.kind === 'guard-noted' || event.kind === 'tripped')).toBe(false);
  });
});
