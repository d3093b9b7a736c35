/** A plan with targets on the whole street: host, line, controller, simulated bench, archive. */
import { describe, expect, it } from 'vitest';
import { foldRun } from '../../app/journal/fold.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { decideNext, soFarOf } from '../../app/schedule/schedule.ts';
import { runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

const wanting = (small: Plan): Plan => ({
  ...small,
  axes: { ...small.axes, voltageV: [12, 14], widthMs: [2.5, 3, 4, 5, 6, 8, 10, 12] },
  zero: { ...small.zero, windowS: 10 },
  targets: { deadTimeUs: 9, atVoltage: [], hours: 2, attemptsPerCell: 30, known: [] },
});

describe('a run of a plan with targets', () => {
  it('PLAN-90 RUN-231 SCH-1: is measured until it is known, and a host that dies at any of fifty instants decides what the first one did', { timeout: 240_000 }, async () => {
    const { state, events, verified } = await runInProcess({ plan: samplePlan('small-plan', wanting), scenario: scenario({ seed: 3 }) });
    expect(state.ending).toBe('complete');
    expect(verified).toBe(true);
    const { cells } = reduceRun(soFarOf(state));
    expect(cells.length).toBe(2 * state.plan.injectors.length);
    for (const cell of cells) expect(cell.kind === 'line' && cell.deadTime.expanded).toBeLessThanOrEqual(9e-6);
    // Nothing is measured twice: every attempt was accepted at once, and every point has one.
    expect(state.points.every((p) => p.attempts.length === 1)).toBe(true);

    const additions = events.flatMap((event, at) => (event.kind === 'points-added' ? [{ event, at }] : []));
    expect(additions.length).toBeGreaterThan(5);
    const firsts = additions.filter(({ at }) => events[at - 1]?.kind !== 'points-added');
    const instants = Array.from({ length: 50 }, (_, i) => Math.floor(((i + 0.5) * events.length) / 50));
    for (const instant of instants) {
      // The host dies here: what was decided before stands, and what comes next is decided from the journal when all of that is measured.
      const next = firsts.find(({ at }) => at > instant);
      if (next === undefined) continue;
      let folded: RunState | null = null;
      for (const event of events.slice(0, next.at)) folded = foldRun(folded, event);
      if (folded === null) throw new Error('a run without an event');
      const decided = decideNext(soFarOf(folded)).additions;
      const written = additions.filter(({ at }) => at >= next.at && at < next.at + decided.length).map(({ event }) => ({ points: event.points, rule: 'rule' in event.by ? event.by.rule : '', why: event.why }));
      expect(written).toEqual(decided);
    }
  });
});
