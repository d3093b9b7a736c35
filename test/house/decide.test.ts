import { describe, expect, it, vi } from 'vitest';
import type { Plan } from '../../app/plan/plan.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import type { ReducedWindow, Reduction } from '../../app/reduce/reduction.ts';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import { decideNext, soFarOf } from '../../app/schedule/schedule.ts';
import { decideInArchive } from '../builders/decided-run.ts';
import { sampleEquipment } from '../builders/in-process.ts';
import type { SoFar } from '../../app/schedule/cells.ts';
import type { Archive } from '../../main/archive/archive.ts';
import { decideStored } from '../../main/service/decide.ts';
import { followRun, loadRun } from '../../main/service/load-run.ts';

const plan = {
  ...syntheticPlan({ voltageV: [12, 14], widthMs: [2, 2.5, 3, 4, 5, 6, 8, 10], replicates: 1 }, 2, {}, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 } }),
  targets: { deadTimeUs: 0.1, atVoltage: [], hours: 100, attemptsPerCell: 30, known: [] },
};

const budgetOf = ({ outcome }: ReducedWindow) => (outcome.kind === 'mass' ? outcome.budget : null);

function unseen(archive: Archive, run: string): SoFar {
  const whole = loadRun(archive, run);
  if (!whole.ok) throw new Error(whole.text);
  return soFarOf(whole.state);
}

describe('a decision about a run in an archive', () => {
  it('RUN-232, SCH-50: reads only what was committed since the last, and of that no steps that the next event makes nothing of, and is the decision of the whole journal', () => {
    let before = 0;
    const decisions = decideInArchive(plan, 1, (archive, run) => {
      const read = vi.spyOn(archive, 'storedEvents');
      const [whole, steps] = [vi.spyOn(archive, 'events'), vi.spyOn(JSON, 'parse')];
      const decided = decideStored(archive, run);
      expect(read.mock.calls).toEqual([[run, before, Number.POSITIVE_INFINITY]]);
      expect(whole.mock.calls).toEqual([]);
      // Steps of attempts that went on or ended are not even taken apart.
      expect(steps.mock.calls.filter(([text]) => text.includes('"kind":"step"'))).toEqual([]);
      for (const spy of [read, whole, steps]) spy.mockRestore();
      const loaded = loadRun(archive, run);
      if (!loaded.ok) throw new Error(loaded.text);
      expect(followRun(archive, run)).toEqual(loaded);
      before = [...archive.events(run)].length;
      expect(decided).toEqual({ ok: true, decision: decideNext(soFarOf(loaded.state)) });
      return decided;
    });
    expect(decisions.length).toBeGreaterThan(8);
    expect(decisions.at(-1)?.added).toBe(0);
  });

  it('RED-160: to the last digit, with what is known from decisions before and without, over a whole run', async () => {
    const drawn: Plan = {
      ...syntheticPlan({ voltageV: [9, 12, 14], widthMs: [2, 2.5, 3, 4, 5, 6, 8, 10], replicates: 1 }, 3, {}, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, pair: { windows: 1 } }),
      reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 20 },
      targets: { deadTimeUs: 0.1, atVoltage: [], hours: 100, attemptsPerCell: 24, known: [] },
    };
    const states: { readonly known: Reduction; readonly decided: string; readonly journal: SoFar }[] = [];
    const decisions = decideInArchive(drawn, 7, (archive, run) => {
      const decided = decideStored(archive, run);
      const followed = followRun(archive, run);
      if (!decided.ok || !followed.ok) throw new Error('the run is there');
      states.push({ known: reduceRun(soFarOf(followed.state)), decided: JSON.stringify(decided.decision), journal: unseen(archive, run) });
      return decided;
    });
    expect(decisions.at(-1)?.measured).toBeGreaterThan(150);
    expect(states.length).toBeGreaterThan(8);
    // Modules read anew know nothing of what these kept; and they meet the windows the other way round, so that what passes for another by a value would be told by the other of the two.
    for (const { known, decided, journal } of states) {
      vi.resetModules();
      const fresh = { ...(await import('../../app/reduce/reduce.ts')), ...(await import('../../app/reduce/mass.ts')), ...(await import('../../app/schedule/schedule.ts')) };
      expect(fresh.reduceRun).not.toBe(reduceRun);
      const { points, attempts, equipment } = journal;
      for (const { point, window } of [...attempts].reverse()) {
        const at = points[point];
        if (at !== undefined) fresh.massPerPulse(at, window, equipment, drawn.reduction, null);
      }
      const anew = fresh.reduceRun(journal);
      expect(known).toEqual(anew);
      expect(known.windows.map(budgetOf)).toEqual(anew.windows.map(budgetOf));
      expect(decided).toBe(JSON.stringify(fresh.decideNext(journal)));
    }
  });

  it('RUN-232: of one run is nothing of another', () => {
    decideInArchive(plan, 2, (archive, run) => {
      const other = archive.createRun({ plan, equipment: sampleEquipment(), operator: 'Operator 2', software: 'test', simulated: true });
      if (!other.ok) throw new Error(other.text);
      decideStored(archive, run);
      expect(decideStored(archive, other.id)).toMatchObject({ ok: false });
      expect(decideStored(archive, run)).toMatchObject({ ok: true });
      return null;
    });
  });
});
