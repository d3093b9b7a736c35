import { describe, expect, it, vi } from 'vitest';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import { decideNext, soFarOf } from '../../app/schedule/schedule.ts';
import { decideInArchive } from '../builders/decided-run.ts';
import { sampleEquipment } from '../builders/in-process.ts';
import { decideStored } from '../../main/service/decide.ts';
import { loadRun } from '../../main/service/load-run.ts';

const plan = {
  ...syntheticPlan({ voltageV: [12, 14], widthMs: [2, 2.5, 3, 4, 5, 6, 8, 10], replicates: 1 }, 2, {}, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 } }),
  targets: { deadTimeUs: 0.1, atVoltage: [], hours: 100, attemptsPerCell: 30, known: [] },
};

describe('a decision about a run in an archive', () => {
  it('RUN-232: reads only what was committed since the last, and is the decision of the whole journal', () => {
    let before = 0;
    const decisions = decideInArchive(plan, 1, (archive, run) => {
      const read = vi.spyOn(archive, 'events');
      const decided = decideStored(archive, run);
      expect(read.mock.calls).toEqual([[run, before]]);
      read.mockRestore();
      const whole = loadRun(archive, run);
      if (!whole.ok) throw new Error(whole.text);
      before = [...archive.events(run)].length;
      expect(decided).toEqual({ ok: true, decision: decideNext(soFarOf(whole.state)) });
      return decided;
    });
    expect(decisions.length).toBeGreaterThan(8);
    expect(decisions.at(-1)?.added).toBe(0);
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
