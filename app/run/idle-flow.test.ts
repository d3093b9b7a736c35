import { describe, expect, it } from 'vitest';
import { IdleFlow } from './idle-flow.ts';
import { ScriptedBench } from './scripted-bench.test-helper.ts';

/** 48 edges per mL at rest: 8 Hz are 10 mL/min. */
const kFactor = [
  { hertz: 100, edgesPerLitre: 50_000 },
  { hertz: 0, edgesPerLitre: 48_000 },
];

describe('IdleFlow', () => {
  it('counts edges over 5 s, from 1 s after the last pulse', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor);
    bench.leak = 8;
    for (let n = 0; n < 118; n += 1) {
      idle.add(bench.pass(true), false);
      expect(idle.millilitresPerMinute).toBeNull();
    }
    for (let n = 0; n < 6; n += 1) idle.add(bench.pass(true), false);
    // One edge of the forty that come in 5 s is 2.5 %.
    expect(Math.abs((idle.millilitresPerMinute ?? 0) - 10)).toBeLessThan(0.26);
    bench.leak = 0;
    for (let n = 0; n < 210; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
  });

  it('knows nothing while an injector is driven, or may be', () => {
    const bench = new ScriptedBench();
    const idle = new IdleFlow(kFactor);
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), true);
    expect(idle.millilitresPerMinute).toBeNull();
    for (let n = 0; n < 200; n += 1) idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBe(0);
    bench.burst = { ...bench.burst, active: true, commanded: 10, period: 0.02 };
    idle.add(bench.pass(true), false);
    expect(idle.millilitresPerMinute).toBeNull();
  });
});
