/** Blind windows in a run: RUN-210 to RUN-213. */
import { describe, expect, it } from 'vitest';
import { seconds } from '../quantities/quantity.ts';
import { countingAttempts } from '../reduce/counting.ts';
import { sealedText } from '../journal/blind.ts';
import type { BlindShift } from '../journal/blind.ts';
import type { BlindSource } from './engine.ts';
import { ScriptedBench, TestRun, testPlan } from './scripted-bench.test-helper.ts';

const plan = testPlan({ axes: { voltageV: [10, 14], pressureKpa: [400], widthMs: [3, 5], periodMs: [20], replicates: 3 }, blind: { percent: 20 } });

/** Shifts one after another, and what was asked for. */
function source(shifts: readonly number[]): BlindSource & { readonly asked: Parameters<BlindSource['draw']>[1][]; readonly given: BlindShift[] } {
  const asked: Parameters<BlindSource['draw']>[1][] = [];
  const given: BlindShift[] = [];
  return {
    asked,
    given,
    draw: (of, allowed) => {
      const secret = { ...of, shift: seconds(shifts[asked.length % shifts.length] ?? 0), salt: `salt ${asked.length}` };
      asked.push(allowed);
      given.push(secret);
      return { ...secret, seal: `seal of ${sealedText(secret)}` };
    },
  };
}

const microseconds = (s: number | null | undefined): number => Math.round((s ?? Number.NaN) * 1e7) / 10;
const blindPoints = (run: TestRun) => run.points.filter((p) => p.role === 'blind');

const twoMeasured = (run: TestRun): boolean => run.events('attempt-ended').filter((e) => run.points[e.point]?.role === 'blind').length === 2;

describe('blind windows', () => {
  it('RUN-210 RUN-211 a blind point is driven with its shift, sealed before the pulses, inside the limits of plan and controller', () => {
    const secrets = source([7e-6, -11.5e-6, 0, 3e-6]);
    const bench = new ScriptedBench();
    const run = new TestRun({ plan, bench, secrets }).start();
    const driven: { readonly point: number; readonly width: number; readonly sealed: boolean }[] = [];
    run.runUntil((r) => {
      const request = bench.requests.at(-1);
      const { current } = r.engine.state;
      if (request?.kind === 'burst' && request.count > plan.purge.pulses && current?.step === 'settle' && r.points[current.point]?.role === 'blind' && driven.at(-1)?.point !== current.point) {
        driven.push({ point: current.point, width: request.width, sealed: r.events('blind-sealed').some((e) => e.point === current.point) });
      }
      return r.mode === 'ended';
    });
    expect(run.engine.state.ending).toBe('complete');
    const points = blindPoints(run);
    expect(points).toHaveLength(4);
    expect(driven.map((d) => microseconds(d.width - (run.points[d.point]?.width ?? 0)))).toEqual([7, -11.5, 0, 3]);
    expect(driven.every((d) => d.sealed)).toBe(true);
    // Of 3 and 5 ms the longer half is 5: no pulse is longer than the longest of the plan.
    for (const { low, high, step } of secrets.asked) expect([microseconds(low), microseconds(high), step]).toEqual([-20, 0, bench.capabilities.timerResolution]);
    expect(run.engine.state).toEqual(run.refold());
  });

  it('RUN-211 RUN-212 the journal has the seal when the pulses begin and the secret when the run rests, not before', () => {
    const secrets = source([5e-6]);
    const run = new TestRun({ plan, secrets }).start();
    run.runUntil((r) => twoMeasured(r));
    expect(run.events('blind-unsealed')).toHaveLength(0);
    const text = JSON.stringify(run.journal);
    expect(text).not.toContain('"shift"');
    // The width that was driven would tell the shift.
    expect(text).not.toContain('drivenWidth');
    expect(countingAttempts(run.engine.state).filter((a) => a.blindShift !== undefined).every((a) => a.blindShift === null)).toBe(true);
    run.command({ kind: 'pause-now' });
    run.runUntil((r) => r.mode === 'paused');
    const [told] = run.events('blind-unsealed');
    expect(told?.shifts).toEqual(secrets.given.slice(0, told?.shifts.length));
    const kinds = run.journal.map((e) => e.kind);
    expect(kinds.lastIndexOf('blind-unsealed')).toBeLessThan(kinds.lastIndexOf('paused'));
    run.command({ kind: 'resume' });
    run.runUntil((r) => r.mode === 'ended');
    const shifts = countingAttempts(run.engine.state).flatMap((a) => (a.blindShift === undefined ? [] : [microseconds(a.blindShift)]));
    expect(shifts).toEqual([5, 5, 5, 5]);
    expect(run.events('blind-unsealed').flatMap((e) => e.shifts)).toEqual(secrets.given);
  });

  it('RUN-213 secrets that died with their program stay sealed, and the run goes on with new ones', () => {
    const run = new TestRun({ plan, secrets: source([5e-6]) }).start();
    run.runUntil((r) => twoMeasured(r));
    run.restartHost();
    run.runUntil((r) => r.mode === 'paused');
    run.command({ kind: 'resume' });
    run.runUntil((r) => r.mode === 'ended');
    const blind = countingAttempts(run.engine.state).filter((a) => a.blindShift !== undefined);
    expect(blind.map((a) => (a.blindShift === null ? null : microseconds(a.blindShift)))).toEqual([null, null, 5, 5]);
  });

  it('RUN-210 without a source of secrets a blind point is driven as it stands in the plan, and is no blind window', () => {
    const run = new TestRun({ plan }).start();
    run.runUntil((r) => r.mode === 'ended');
    expect(run.engine.state.ending).toBe('complete');
    expect(run.events('blind-sealed')).toEqual([]);
    expect(countingAttempts(run.engine.state).filter((a) => a.blindShift !== undefined)).toEqual([]);
  });
});
