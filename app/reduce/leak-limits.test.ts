/** What may be said of a result that a leak moved, and in which words: RED-45, RED-47, RED-48, from figures made by hand. */
import { describe, expect, it } from 'vitest';
import { kilograms, kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import { attemptNumber } from './leak-block.ts';
import type { LeakBlock } from './leak-block.ts';
import { isOfLeak, leakOnMass, leakVerdict } from './leak-limits.ts';
import { leakSentences, millilitresPerMinute } from './leak-words.ts';
import { errorSource } from '../uncertainty/source.ts';
import type { Leak, LeakEffect, LineCell, NoLineCell, PeriodPair, ReducedWindow } from './reduction.ts';
import { syntheticPlan } from './synthetic.test-helper.ts';

const mlPerMin = 1e-6 / 60;
const limits = { ...syntheticPlan({}).reduction, leakTimesU95: 10, leakChangeTimesU95: 1, leakUncertaintyTimesU95: 0.5 };
const none: LeakEffect = { flow: 0.05 * mlPerMin, shift: 0, u: 0, change: 0, contradiction: 0 };
/** Exact in binary: at a limit is not beyond it. */
const expanded = 0.25;
const verdict = (effect: Partial<LeakEffect>) => leakVerdict({ ...none, ...effect }, expanded, limits, 'the dead time');

describe('RED-45 what a leak leaves of a result', () => {
  it('all of it up to ten times its U95, and up to one by which the leak changed or is contradicted', () => {
    for (const kept of [{}, { shift: 2.5 }, { change: 0.25 }, { change: -0.25 }, { contradiction: 0.25 }, { contradiction: -0.25 }, { u: 0.0625 }, { shift: -100 }]) {
      expect(verdict(kept), JSON.stringify(kept)).toEqual({ refused: null, again: null });
    }
    expect(verdict({ shift: 2.501 }).refused).toContain('A leak of 0.05 mL/min past the injector moves the dead time by 10 times its U95; 10 is the limit');
    expect(verdict({ shift: 5 }).refused).toContain('moves the dead time by 20 times its U95');
    for (const change of [0.3, -0.3]) expect(verdict({ change }).refused).toContain('changed while this was measured, by as much as moves the dead time by 1.2 times its U95; 1 is the limit');
    for (const contradiction of [0.3, -0.3]) expect(verdict({ contradiction }).refused).toContain('contradict each other: the leak that they leave open moves the dead time by 1.2 times its U95, and 1 is the limit');
    for (const beyond of [{ shift: 5 }, { change: 1 }, { contradiction: 1 }]) expect(verdict(beyond).again).toBeNull();
  });

  it('is to be measured again where twice the uncertainty of the leak is above half its U95', () => {
    expect(verdict({ u: 0.075 })).toMatchObject({ refused: null, again: expect.stringContaining('brings 0.6 times its U95 into the dead time; 0.5 is the limit') as string });
    expect(verdict({ u: 0.075, shift: 5 }).again).toBeNull();
  });

  it('is counted over the windows of which the leak is known, referred like their masses', () => {
    const block = (flow: number, change: number): LeakBlock => ({ block: 0, pressure: 4e5, voltage: 14, flow, uFlow: 0, change, uChange: 0, uMeter: 0, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [] });
    const at = { index: 0, role: 'measure', injector: 0, channel: 1, voltage: volts(14), pressure: kilopascals(400), width: milliseconds(5), period: milliseconds(20), replicate: 0 } as const;
    const window = (point: number, kind: 'mass' | 'no-mass' = 'mass'): ReducedWindow =>
      ({ point, attempt: 1, at, outcome: { kind, mass: kilograms(1e-5), meterDensity: 700, pressureFactor: 1.01, temperatureFactor: 0.98 } }) as unknown as ReducedWindow;
    const blocks = new Map([block(2e-9, -1e-9), block(4e-9, 3e-9), block(9, 9)].map((of, point) => [attemptNumber({ point, attempt: 1 }), of]));
    const found = leakOnMass([window(0), window(1), window(2, 'no-mass'), window(3)], { blocks, contradiction: 5e-9 });
    const perFlow = 700 * 0.02 * 1.01 * 0.98;
    expect(found?.flow).toBeCloseTo(3e-9, 18);
    expect(found?.perPeriod).toBeCloseTo(3e-9 * perFlow, 18);
    expect(found?.change).toBeCloseTo(2e-9 * perFlow, 18);
    expect(found?.contradiction).toBeCloseTo(5e-9 * perFlow, 18);
    expect(leakOnMass([window(3)], { blocks, contradiction: 5e-9 })).toBeNull();
    expect(['leak', 'leak-change', 'leak-meter', 'leak-path', 'k-factor'].map((q) => isOfLeak(errorSource(q as 'leak')))).toEqual([true, true, true, true, false]);
  });
});

const block = (at: number, flow: number, u: number, more: Partial<LeakBlock> = {}): LeakBlock => ({
  block: at, pressure: 4e5, voltage: 10 + at, flow: flow * mlPerMin, uFlow: u * mlPerMin, change: 0, uChange: 0, uMeter: 0, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [], ...more,
});
const looked = (blocks: readonly LeakBlock[], more: Partial<Extract<Leak, { kind: 'leak' }>> = {}): Leak => ({ kind: 'leak', edges: 12, time: 360, decays: 0, blocks, ...more });
const noPair: PeriodPair = { kind: 'no-period-pair', text: 'No pair.' };
const say = (leak: Leak, pair: PeriodPair = noPair, cells: readonly (LineCell | NoLineCell)[] = []): readonly string[] => leakSentences(leak, pair, cells);

describe('what is said of the leak of a run', () => {
  it('a flow has two digits, and is nothing below half a thousandth of a mL/min', () => {
    expect([0.0512, -0.0512, 12.34, 0.0004, -0.0004, 0.0005].map((f) => millilitresPerMinute(f * mlPerMin))).toEqual(['0.051 mL/min', '-0.051 mL/min', '12 mL/min', '0 mL/min', '0 mL/min', '0.0005 mL/min']);
  });

  it('RED-46: that nobody looked, or that nothing was measured', () => {
    expect(say({ kind: 'not-looked-at', text: 'Nobody looked.' })).toEqual(['Nobody looked.', 'No pair.']);
    expect(say(looked([]))[0]).toBe('Nothing was measured that a leak could have moved.');
  });

  it('that none is seen while it is within two standard uncertainties of nothing in every block, with the largest', () => {
    expect(say(looked([block(0, 0.02, 0.011), block(1, 0.01, 0.011)]))).toEqual([
      'No leak past the injectors is seen: 0.02 mL/min ± 0.022 mL/min (k = 2), from 12 meter edges in 360 s without pulses. That is subtracted from every mass, with its uncertainty.',
      'No pair.',
    ]);
    expect(say(looked([block(0, 0.02, 0.01)]))[0]).toContain('No leak past the injectors is seen');
    expect(say(looked([block(0, 0.021, 0.01)]))[0]).toContain('about 0.021 mL/min ± 0.02 mL/min (k = 2)');
  });

  it('how large it was, from least to most where the blocks differ by more than twice their uncertainties', () => {
    expect(say(looked([block(0, 0.2, 0.01), block(1, 0.225, 0.01)]))[0]).toContain('about 0.23 mL/min ± 0.02 mL/min (k = 2), from 12 meter edges');
    expect(say(looked([block(0, 0.23, 0.01), block(1, 0.2, 0.01)]))[0]).toContain('0.2 mL/min ± 0.02 mL/min to 0.23 mL/min ± 0.02 mL/min (k = 2)');
  });

  it('with all that is not known of it: the mean, the meter, and its change as a rectangle', () => {
    const wide = block(0, 1, 0.02, { uMeter: 0.01 * mlPerMin, change: 0.09 * mlPerMin, uChange: 0.04 * mlPerMin });
    expect(say(looked([wide]))[0]).toContain(`± ${Number((2 * Math.hypot(0.02, 0.01, Math.hypot(0.09, 0.04) / Math.sqrt(12))).toPrecision(2))} mL/min`);
  });

  it('what it was told from: edges, decays, or the pair alone', () => {
    expect(say(looked([block(0, 0.2, 0.01)], { decays: 3 }))[0]).toContain('from 3 pressure decays');
    expect(say(looked([block(0, 0.2, 0.01)], { time: 0 }))[0]).toContain('from windows at twice the period alone');
  });

  it('RED-49: below which flow the meter stands still', () => {
    const blind = [block(0, 0.25, 0.01, { below: 0.5 * mlPerMin, uMeter: 0.14 * mlPerMin }), block(1, 0.2, 0.01)];
    expect(say(looked(blind))).toEqual([expect.stringMatching(/^The meter stands still below 0\.5 mL\/min and saw nothing in 360 s without pulses: .* taken as 0\.25 mL\/min ± 0\.28 mL\/min/), 'No pair.']);
  });

  it('RED-48: where it grew or fell by more than three standard uncertainties from one block to the next at one pressure', () => {
    const of = (blocks: readonly LeakBlock[]): readonly string[] => say(looked(blocks)).slice(1, -1);
    expect(of([block(0, 0.1, 0.003), block(1, 0.12, 0.004), block(2, 0.15, 0.003), block(3, 0.1, 0.004)])).toEqual([
      'The leak grew by 0.02 mL/min from block 1 (10 V, 400 kPa) to block 2 (11 V).',
      'The leak grew by 0.03 mL/min from block 2 (11 V, 400 kPa) to block 3 (12 V).',
      'The leak fell by 0.05 mL/min from block 3 (12 V, 400 kPa) to block 4 (13 V).',
    ]);
    expect(of([block(0, 0.1, 0.003), block(1, 0.1145, 0.004)])).toEqual([]);
    expect(of([block(0, 0.1, 0.003), block(1, 0.3, 0.004, { pressure: 3e5 })])).toEqual([]);
  });

  it('how many lines are refused and how many are to be measured again', () => {
    const line = (again: string | null): LineCell => ({ kind: 'line', leak: { again } }) as unknown as LineCell;
    const refused = (reason: NoLineCell['reason']): NoLineCell => ({ kind: 'no-line', reason }) as unknown as NoLineCell;
    const bare = { kind: 'line', leak: null } as unknown as LineCell;
    const text = (cells: readonly (LineCell | NoLineCell)[]): readonly string[] => say(looked([block(0, 0.2, 0.01)]), noPair, cells).slice(2);
    expect(text([line(null), bare, refused('not-measured')])).toEqual([]);
    expect(text([line('Again.'), line(null), bare, refused('leak'), refused('leak'), refused('no-slope')])).toEqual([
      expect.stringMatching(/^2 of 6 lines are refused because of the leak/),
      expect.stringMatching(/^1 of 6 lines stand with an uncertainty/),
    ]);
  });
});

describe('RED-47 what is said of a period pair', () => {
  const pair = (more: Partial<Extract<PeriodPair, { kind: 'period-pair' }>>): PeriodPair => ({
    kind: 'period-pair', injectors: [{ injector: 0, serialNumber: 'S-1', flow: 0, uRandom: 0 }, { injector: 1, serialNumber: 'S-2', flow: 0, uRandom: 0 }],
    flow: 0.1 * mlPerMin, uRandom: 0.03 * mlPerMin, uShared: 0.04 * mlPerMin, beside: true, takenOff: 0.2 * mlPerMin, uTakenOff: 0.01 * mlPerMin, z: -1.96, agrees: true, ...more,
  });
  const last = (one: PeriodPair): string | undefined => say(looked([block(0, 0.2, 0.01)]), one).at(-1);

  it('what pulses tell in all, how far from none, and how far from what is subtracted', () => {
    expect(last(pair({}))).toBe('2 injectors at twice the period: 0.3 mL/min ± 0.1 mL/min (k = 2) leak while pulses flow, 6.0 standard uncertainties from none; against the 0.2 mL/min that are subtracted they differ by 2.0 standard uncertainties, within the 4 that are allowed: zero points and pulses do not contradict each other.');
    expect(last(pair({ agrees: false }))).toContain('they differ by 2.0 standard uncertainties: zero points and pulses contradict each other.');
  });

  it('that nothing else was looked at', () => {
    expect(last(pair({ beside: false }))).toBe('2 injectors at twice the period: 0.1 mL/min ± 0.1 mL/min (k = 2) leak, -2.0 standard uncertainties from nothing. Nothing else tells of the leak: zero flow was not watched, or not long enough.');
  });
});
