import { describe, expect, it } from 'vitest';
import { IdleFlow } from './idle-flow.ts';
import { ScriptedBench } from '../run/scripted-bench.test-helper.ts';

/** 48 edges per mL at rest: 8 Hz are 10 mL/min. */
const kFactor = [
  { hertz: 100, edgesPerLitre: 50_000 },
  { hertz: 0, edgesPerLitre: 48_000 },
];

describe('IdleFlow', () => {
  it('counts edges over 5 s and more, from 1 s after the last pulse', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor, 1, 4000);
    bench.leak = 8;
    for (let n = 0; n < 118; n += 1) {
      idle.add(bench.pass(true), false);
      expect(idle.millilitresPerMinute).toBeNull();
    }
    for (let n = 0; n < 6; n += 1) idle.add(bench.pass(true), false);
    // One edge of the forty that come in 5 s is 2.5 %.
    expect(Math.abs((idle.millilitresPerMinute ?? 0) - 10)).toBeLessThan(0.26);
    bench.leak = 0;
    for (let n = 0; n < 700; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
  });

  it('RUN-109 a rail that fills up is no leak; the edge that would have come anyway is none either', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor, 1, 4000);
    bench.leak = 100;
    bench.pressure = 300;
    for (let n = 0; n < 200; n += 1) {
      bench.pressure += 0.5;
      idle.add(bench.pass(true), false);
      expect(idle.millilitresPerMinute).toBeNull();
    }
    bench.leak = 0;
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
    // One edge in 10 s says nothing for sure.
    bench.leak = 0.1;
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
  });

  it('RUN-109 a small leak shows with time', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor, 1, 4000);
    bench.leak = 0.8; // 1 mL/min
    const seen: number[] = [];
    for (let n = 0; n < 700; n += 1) {
      idle.add(bench.pass(true), false);
      if (idle.millilitresPerMinute !== null) seen.push(idle.millilitresPerMinute);
    }
    expect(seen.every((flow) => flow <= 1 + 1e-9)).toBe(true);
    expect(seen.at(-1)).toBeGreaterThan(0.9);
    expect(seen[0]).toBeLessThan(0.8);
  });

  it('knows nothing while an injector is driven, or may be', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor, 1, 4000);
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), true);
    expect(idle.millilitresPerMinute).toBeNull();
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
    bench.burst = { ...bench.burst, active: true, commanded: 10, period: 0.02 };
    idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBeNull();
  });
});
