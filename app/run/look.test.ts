/** What is found of an injector at its first look, with the limits of the plan on both sides. */
import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { lookPart } from '../plan/look.ts';
import type { Plan } from '../plan/plan.ts';
import { amperes, celsius, kilopascals, seconds, volts } from '../quantities/quantity.ts';
import { massPerPulse } from '../reduce/mass.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { judgeLooks, lookCriteria, shutCriterion } from './look.ts';
import type { LookedAt, LookJudgement } from './look.ts';
import { testEquipment, testPlan } from './scripted-bench.test-helper.ts';

/** Coils of an injector in the list; null: the list has no resistance. */
const listed = (coils: readonly (number | null)[], look: Record<string, unknown> = {}, pressureKpa = 400): Plan =>
  testPlan({
    look: { windowS: 2, ...look },
    injectors: coils.map((coilResistanceOhm, i) => ({ serialNumber: `A-${i + 1}`, type: 'T', channel: i + 1, ...(coilResistanceOhm === null ? {} : { coilResistanceOhm }) })),
    axes: { voltageV: [14], pressureKpa: [pressureKpa], widthMs: [3], periodMs: [20], replicates: 1 },
  });

/** An injector as it is; `current` null: the controller states none. */
interface Injector {
  readonly ohm?: number;
  readonly current?: null;
  /** Edges per second, held open; null: its held window holds none. */
  readonly rate?: number | null;
  /** Slope over static flow, and dead time, s. */
  readonly slopePart?: number;
  readonly deadTime?: number;
  /** Rates of the parts of its short window over their mean. */
  readonly parts?: readonly number[];
}

/** What its three windows hold: fluid at 30 degC in the rail, so that copper has 3.93 % more than at 20 degC. */
function lookedAt(plan: Plan, injector: number, { ohm = 12, current, rate = 280, slopePart = 1, deadTime = 0.5e-3, parts = [1, 1] }: Injector): LookedAt {
  const points = expandPlan(plan).filter((point) => point.role === 'look' && point.injector === injector);
  const windows = points.map((point): WindowSummary => {
    const held = lookPart(point) === 'held';
    const hertz = rate === null ? (held ? 0 : 100) : held ? rate : (rate * slopePart * (point.width - deadTime)) / point.period;
    const amps = point.voltage / (ohm * (1 + 0.00393 * 10));
    return {
      from: seconds(0), to: seconds(2), frames: 41, missingFrames: 0, edges: hertz === 0 ? 0 : 200, firstEdgeAt: seconds(0), lastEdgeAt: seconds(hertz === 0 ? 0 : 200 / hertz),
      partRates: lookPart(point) === 'short' ? parts.map((part) => part * hertz) : hertz === 0 ? [] : [hertz, hertz], pulses: 100,
      pressure: { mean: point.pressure, sd: 0 }, supply: { mean: point.voltage, sd: 0 }, railTemperature: { mean: celsius(30), sd: 0 }, meterTemperature: { mean: celsius(20), sd: 0 },
      ...(current === null ? {} : { current: { mean: amperes(amps), sd: 0 } }),
    };
  });
  return { injector, points, windows };
}

const judgeAll = (plan: Plan, injectors: readonly Injector[]): readonly LookJudgement[] => judgeLooks(plan, testEquipment, injectors.map((one, i) => lookedAt(plan, i, one)));
const failed = (judgements: readonly LookJudgement[]): string[][] => judgements.map(({ criteria }) => criteria.filter(({ passed }) => !passed).map(({ rule }) => rule));
const findings = (plan: Plan, injectors: readonly Injector[]): string[][] => failed(judgeAll(plan, injectors));

describe('RUN-135 a window of a first look', () => {
  const [point] = expandPlan(listed([null]));
  if (point === undefined) throw new Error('a plan has points');
  const window = (changes: Partial<WindowSummary>): WindowSummary => ({
    from: seconds(4), to: seconds(6), frames: 41, missingFrames: 0, edges: 20, firstEdgeAt: seconds(4), lastEdgeAt: seconds(6), partRates: [], pulses: 100,
    pressure: { mean: kilopascals(400), sd: 5e4 }, supply: { mean: volts(14), sd: 1 }, railTemperature: { mean: celsius(80), sd: 9 }, meterTemperature: { mean: celsius(80), sd: 9 }, ...changes,
  });
  const kept = (changes: Partial<WindowSummary>): (string | undefined)[] => lookCriteria(window(changes), point, listed([null]), 2).filter(({ passed }) => !passed).map(({ quantity }) => quantity);

  it.each<[string, Partial<WindowSummary>, Partial<WindowSummary>]>([
    ['edges', { edges: 19 }, { edges: 20 }],
    ['length', { to: seconds(5.98), pulses: 99 }, { to: seconds(6) }],
    ['pressure', { pressure: { mean: kilopascals(359.9), sd: 0 } }, { pressure: { mean: kilopascals(360), sd: 0 } }],
    ['pressure', { pressure: { mean: kilopascals(440.1), sd: 0 } }, { pressure: { mean: kilopascals(440), sd: 0 } }],
    ['supply', { supply: { mean: volts(12.5), sd: 0 } }, { supply: { mean: volts(12.7), sd: 0 } }],
    ['supply', { supply: { mean: volts(15.5), sd: 0 } }, { supply: { mean: volts(15.3), sd: 0 } }],
    // 10 % of all that should have come.
    ['missingFrames', { frames: 39, missingFrames: 5 }, { frames: 45, missingFrames: 5 }],
    ['pulses', { pulses: 97 }, { pulses: 98 }],
    ['pulses', { pulses: 103 }, { pulses: 102 }],
  ])('%s: not %j, and %j', (quantity, bad, good) => {
    expect(kept(bad)).toEqual([quantity]);
    expect(kept(good)).toEqual([]);
  });
});

describe('RUN-136 what flows on after the last pulses', () => {
  it('is the flow of the edges by the least K-factor, at most that of the plan', () => {
    const meter = { ...testEquipment.meter, kFactor: [{ hertz: 10, edgesPerLitre: 48_000 }, { hertz: 500, edgesPerLitre: 50_000 }] };
    // 16 edges in a second at 48 to the millilitre are 20 mL/min.
    const of = (edges: number, time: number) => shutCriterion(edges, time, listed([null]), { ...testEquipment, meter });
    expect(of(16, 1.0001)).toMatchObject({ rule: 'RUN-136', passed: true, found: expect.closeTo(19.998, 6) as number, high: 20, unit: 'mL/min' });
    expect(of(16, 0.9999).passed).toBe(false);
    expect(of(32, 2.0002).passed).toBe(true);
  });
});

describe('RUN-137 the coil', () => {
  it('is referred to 20 degC by the temperature of the rail, and told', () => {
    const [only] = judgeAll(listed([12]), [{ ohm: 12 }]);
    expect(only).toMatchObject({ injector: 0, passed: true });
    expect(only?.text).toMatch(/^coil 12\.00 ohm at 20 degC, 12 ohm \+\/- 5 % in the list of injectors; static flow/);
    expect(judgeAll(listed([null], { coilOhm: 12 }), [{ ohm: 11.5 }])[0]?.text).toMatch(/^coil 11\.50 ohm at 20 degC, 12 ohm \+\/- 5 % for the type;/);
  });

  it('PLAN-85 is held against that of its own type before that of all', () => {
    const plan = { ...listed([null], { coilOhm: 12 }), types: [{ type: 'T', resistanceOhm: 14 }] };
    expect(judgeAll(plan, [{ ohm: 14 }])[0]).toMatchObject({ passed: true });
    expect(judgeAll(plan, [{ ohm: 12 }])[0]).toMatchObject({ passed: false });
    expect(judgeAll(plan, [{ ohm: 14 }])[0]?.text).toMatch(/^coil 14\.00 ohm at 20 degC, 14 ohm \+\/- 5 % for the type;/);
  });

  it('may be up to 10 % too high where fewer than three are known, and is held from there on; too low from 1 on', () => {
    for (const [ohm, rules] of [[11.39, ['RUN-137']], [11.41, []], [13.2, []], [13.85, []], [13.87, ['RUN-137']]] as const) {
      expect(findings(listed([12, 12]), [{ ohm }, { ohm: 12 }]), String(ohm)).toEqual([rules, []]);
    }
  });

  it('from three known ones on is held without what all have in common', () => {
    // All are 8 % too high: the fourth at 12.96 * 1.05, and 1.08 * 0.95.
    const others = [{ ohm: 12.96 }, { ohm: 12.96 }];
    for (const [ohm, rules] of [[13.6, []], [13.62, ['RUN-137']], [12.32, []], [12.3, ['RUN-137']]] as const) {
      expect(findings(listed([12, 12, 12]), [{ ohm }, ...others]), String(ohm)).toEqual([rules, [], []]);
    }
    expect(judgeAll(listed([12, 12, 12]), [{ ohm: 12.96 }, ...others])[0]?.text).toMatch(/^coil 12\.00 ohm/);
  });

  it('has no more than 10 %, and no less than nothing, in common with the others', () => {
    const alike = (ohm: number) => findings(listed([12, 12, 12]), [{ ohm }, { ohm }, { ohm }]);
    expect(alike(13.8)).toEqual([[], [], []]);
    expect(alike(13.9)).toEqual([['RUN-137'], ['RUN-137'], ['RUN-137']]);
    expect(alike(11.41)).toEqual([[], [], []]);
    expect(alike(11.39)).toEqual([['RUN-137'], ['RUN-137'], ['RUN-137']]);
  });

  it('of an even number has the middle of the two middle ratios in common', () => {
    // Ratios 1, 1.02, 1.06, 1.08: the geometric mean of 1.02 and 1.06 is taken out.
    const four = [12, 12.24, 12.72, 12.96].map((ohm) => ({ ohm }));
    const said = judgeAll(listed([12, 12, 12, 12]), four).map(({ text }) => /^coil ([\d.]+) ohm/.exec(text)?.[1]);
    expect(said).toEqual([12, 12.24, 12.72, 12.96].map((ohm) => (ohm / Math.sqrt(1.02 * 1.06)).toFixed(2)));
  });

  it('without a given value is held against the median of its type, itself among them', () => {
    const unknown = listed([null, null, null]);
    for (const [ohm, rules] of [[12.59, []], [12.61, ['RUN-137']], [11.41, []], [11.39, ['RUN-137']]] as const) {
      expect(findings(unknown, [{ ohm }, { ohm: 12 }, { ohm: 12 }]), String(ohm)).toEqual([rules, [], []]);
    }
    expect(judgeAll(unknown, [{}, {}, {}])[0]?.text).toMatch(/^coil about 12\.00 ohm at 20 degC, the 3 of its type 12\.00 ohm \+\/- 5 %;/);
    const otherType = testPlan({ ...unknown, injectors: unknown.injectors.map((one, i) => ({ ...one, type: i === 0 ? 'U' : 'T' })) });
    expect(failed(judgeAll(otherType, [{ ohm: 20 }, { ohm: 12 }, { ohm: 12 }]))[0]).toEqual([]);
    expect(judgeAll(otherType, [{ ohm: 20 }, { ohm: 12 }, { ohm: 12 }])[0]?.text).toMatch(/^coil about 20\.00 ohm at 20 degC, nothing to hold it against;/);
  });

  it('is not judged where the controller states no current', () => {
    const [first, second] = judgeAll(listed([12, 12]), [{ current: null }, { ohm: 12 }]);
    expect(first).toMatchObject({ passed: true, text: expect.stringMatching(/^coil resistance not known, because the current is not;/) as string });
    expect(second?.passed).toBe(true);
    const plan = listed([12]);
    const none = lookedAt(plan, 0, {});
    const noCurrent = { ...none, windows: none.windows.map((window) => ({ ...window, current: { mean: amperes(0), sd: 0 } })) };
    expect(judgeLooks(plan, testEquipment, [noCurrent])[0]?.criteria[0]).toEqual({ rule: 'RUN-137', passed: true, text: 'coil resistance not known, because the current is not' });
    // Nor does it count among the three that tell what all have in common.
    expect(findings(listed([12, 12, 12]), [{ current: null }, { ohm: 12 }, { ohm: 13.7 }])).toEqual([[], [], []]);
    // Nor is it one of those that another is held against.
    expect(judgeAll(listed([null, null]), [{ current: null }, { ohm: 12 }])[1]?.text).toContain('nothing to hold it against');
  });
});

describe('RUN-138 the static flow', () => {
  it('is held against that of the type, by the root of the pressure', () => {
    const plan = listed([null], {}, 100);
    const held = lookedAt(plan, 0, {});
    const [point, window] = [held.points[0], held.windows[0]];
    if (point === undefined || window === undefined) throw new Error('a look has a held window');
    const mass = massPerPulse(point, window, testEquipment, plan.reduction, null);
    if (mass.kind !== 'mass') throw new Error(mass.text);
    const gPerMin = (mass.mass / point.period) * 6e4;
    const against = (staticFlowGPerMin: number) => findings(listed([null], { staticFlowGPerMin }, 100), [{}])[0];
    expect(against((2 * gPerMin) / 1.249)).toEqual([]);
    expect(against((2 * gPerMin) / 1.251)).toEqual(['RUN-138']);
    expect(against((2 * gPerMin) / 0.751)).toEqual([]);
    expect(against((2 * gPerMin) / 0.749)).toEqual(['RUN-138']);
    expect(judgeAll(listed([null], { staticFlowGPerMin: 2 * gPerMin }, 100), [{}])[0]?.text).toContain(`static flow ${gPerMin.toFixed(1)} g/min, ${gPerMin.toFixed(1)} g/min +/- 25 % for the type`);
  });

  it('PLAN-94 is held against what the plan states of its type before what it states for all', () => {
    const plan = listed([null], { staticFlowGPerMin: 1e-3 }, 100);
    const held = lookedAt(plan, 0, {});
    const [point, window] = [held.points[0], held.windows[0]];
    if (point === undefined || window === undefined) throw new Error('a look has a held window');
    const mass = massPerPulse(point, window, testEquipment, plan.reduction, null);
    if (mass.kind !== 'mass') throw new Error(mass.text);
    const gPerMin = (mass.mass / point.period) * 6e4;
    expect(findings(plan, [{}])[0]).toEqual(['RUN-138']);
    expect(findings({ ...plan, types: [{ type: 'T', staticFlowGPerMin: gPerMin, flowPressureKpa: 100 }] }, [{}])[0]).toEqual([]);
    expect(findings({ ...plan, types: [{ type: 'T', staticFlowGPerMin: 2 * gPerMin, flowPressureKpa: 100 }] }, [{}])[0]).toEqual(['RUN-138']);
  });

  it('else is held against the median of its type, which takes two', () => {
    const others = [{ rate: 200 }, { rate: 200 }];
    for (const [rate, rules] of [[249, []], [251, ['RUN-138']], [151, []], [149, ['RUN-138']]] as const) {
      expect(findings(listed([null, null, null]), [{ rate }, ...others]), String(rate)).toEqual([rules, [], []]);
    }
    expect(judgeAll(listed([null, null, null]), [{}, {}, {}])[0]?.text).toMatch(/static flow ([\d.]+) g\/min, \1 g\/min \+\/- 25 % as the 3 of its type/);
    // Of two the middle is the mean: 100 and 170 are 26 % from it.
    expect(findings(listed([null, null]), [{ rate: 100 }, { rate: 170 }])).toEqual([['RUN-138'], ['RUN-138']]);
    expect(judgeAll(listed([null]), [{ rate: 1 }])[0]?.text).toContain('nothing to hold it against');
  });

  it('that cannot be told fails, and is none that another is held against', () => {
    const [none, other] = judgeAll(listed([null, null]), [{ rate: null }, {}]);
    expect(none?.criteria.filter(({ passed }) => !passed)).toEqual([{ rule: 'RUN-138', passed: false, text: 'no flow could be told from its windows' }]);
    expect(none?.text).toBe('no flow could be told from its windows');
    expect(other?.text).toMatch(/static flow [\d.]+ g\/min, nothing to hold it against/);
  });
});

describe('RUN-139 the flow of the two widths', () => {
  const alone = (one: Injector) => findings(listed([null]), [one])[0];

  it('grows with the width as the static flow says', () => {
    expect(alone({ slopePart: 1.249 })).toEqual([]);
    expect(alone({ slopePart: 1.251 })).toEqual(['RUN-139']);
    expect(alone({ slopePart: 0.751 })).toEqual([]);
    expect(alone({ slopePart: 0.749 })).toEqual(['RUN-139']);
  });

  it('leaves a dead time above 0 and below the shorter width', () => {
    expect(alone({ deadTime: 1e-6 })).toEqual([]);
    expect(alone({ deadTime: -1e-6 })).toEqual(['RUN-139']);
    expect(alone({ deadTime: 3.99e-3 })).toEqual([]);
  });

  it('is told in percent and milliseconds', () => {
    expect(judgeAll(listed([null]), [{ slopePart: 0.9, deadTime: 0.7e-3 }])[0]?.text).toContain('flow for each millisecond of pulse 90.0 % of the static flow, 100 % +/- 25 % wanted, with a dead time of 0.70 ms');
  });
});

describe('RUN-140 the parts of a window', () => {
  it('scatter by at most so much, standard deviation of a sample over its mean, in the worst window', () => {
    // Of 1 + x and 1 - x it is x times the root of 2.
    const scattered = (x: number) => findings(listed([null]), [{ parts: [1 + x, 1 - x] }])[0];
    expect(scattered(0.0282)).toEqual([]);
    expect(scattered(0.0284)).toEqual(['RUN-140']);
    expect(judgeAll(listed([null]), [{ parts: [1.1, 1, 0.9] }])[0]?.text).toContain('flow scatters by 10.00 % inside a window, at most 4 % allowed');
    expect(findings(listed([null]), [{ parts: [1] }])[0]).toEqual([]);
    expect(findings(listed([null]), [{ parts: [] }])[0]).toEqual([]);
  });
});

describe('RUN-141 two that hang on each other\'s channel', () => {
  const wired = (list: readonly (number | null)[], ohms: readonly number[], look: Record<string, unknown> = { resistancePercent: 50 }) =>
    findings(listed(list, look), ohms.map((ohm) => ({ ohm }))).map((rules) => rules.includes('RUN-141'));

  it('are told where their values differ by more than 1 % and fit within half of it when they are exchanged', () => {
    expect(wired([12, 12.125], [12.125, 12])).toEqual([true, true]);
    expect(wired([12, 12.115], [12.115, 12])).toEqual([false, false]);
    expect(wired([12, 14], [14 * 1.0049, 12 / 1.0049])).toEqual([true, true]);
    expect(wired([12, 14], [14 * 1.0051, 12 / 1.0051])).toEqual([false, false]);
  });

  it('are told where they are the only two, however much they differ: exchanged, one is as much too high as the other too low', () => {
    expect(wired([12, 14], [14, 12])).toEqual([true, true]);
    expect(wired([2, 16], [16, 2])).toEqual([true, true]);
  });

  it('are told with what their coils have in common taken out, from two known ones on', () => {
    expect(wired([12, 14, 16], [14 * 1.06, 12 * 1.06, 16 * 1.06])).toEqual([true, true, false]);
    expect(wired([12, 14], [14 * 1.06, 12 * 1.06])).toEqual([true, true]);
  });

  it('are among all that are listed, each with the one it hangs on the channel of', () => {
    const [, second, , fourth] = judgeAll(listed([12, 13, 15, 17], { resistancePercent: 50 }), [12, 17, 15, 13].map((ohm) => ({ ohm })));
    expect(second).toMatchObject({ passed: false, text: 'coil 17.00 ohm at 20 degC is that of A-4 (17 ohm) and not its own (13 ohm), and the other way round: the two hang on each other\'s channel' });
    expect(fourth?.text).toBe('coil 13.00 ohm at 20 degC is that of A-2 (13 ohm) and not its own (17 ohm), and the other way round: the two hang on each other\'s channel');
  });

  it('are not two that are off to one side, one that is off alone, or what is not in the list', () => {
    expect(wired([12, 12.2], [12.2, 12.4])).toEqual([false, false]);
    expect(wired([12, 14], [12, 12])).toEqual([false, false]);
    expect(wired([12, 14], [12, 14])).toEqual([false, false]);
    // The type's resistance is nobody's own.
    expect(wired([null, 14], [14, 12], { resistancePercent: 50, coilOhm: 12 })).toEqual([false, false]);
  });
});
