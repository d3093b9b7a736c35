/** The supply that sags inside a pulse, from the controller that reads it there to the dead times that it would move. */
import { expect, test } from 'vitest';
import { grantedSentences } from '../../app/equipment/standing.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { LineCell, Reduction } from '../../app/reduce/reduction.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { reduction, runInProcess, sampleEquipment, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';

/** Without noise and with instruments that are as their certificates say. */
const plan = samplePlan('small-plan', (small): Plan => ({
  ...withoutLeakChecks(small),
  settleS: 2,
  window: { ...small.window, minS: 6, maxS: 60, minEdges: 480 },
  injectors: small.injectors.slice(0, 1),
  axes: { ...small.axes, voltageV: [9, 11, 14], widthMs: [3, 4, 5, 6, 8] },
  reduction: { ...small.reduction, linearFromMs: 3 },
}));
const sagOhm = 0.15;

async function measured(bench: Partial<Scenario>): Promise<{ readonly reduced: Reduction; readonly lines: readonly LineCell[] }> {
  const run = await runInProcess({ plan, scenario: scenario({ noise: false, instrumentErrors: false, timeBasePpm: 0, ...bench }), equipment: sampleEquipment() });
  expect(run.verified).toBe(true);
  const reduced = reduction(run.state);
  return { reduced, lines: reduced.cells.flatMap((cell) => (cell.kind === 'line' ? [cell] : [])) };
}

test('RED-143 LINE-130 RUN-190 what the supply loses inside pulses is told by a controller that reads it there, and moves no dead time any more', async () => {
  const [firm, unread, read] = [await measured({}), await measured({ imperfections: { sagOhm } }), await measured({ imperfections: { sagOhm }, readsInPulses: true })];
  expect(unread.reduced.supplyLoss).toBeUndefined();
  // With the supply's own three milliohms.
  expect(read.reduced.supplyLoss?.ohm).toBeCloseTo(sagOhm + 0.003, 2);
  expect(read.reduced.supplyLoss?.windows).toBeGreaterThanOrEqual(15);
  expect(firm.lines).toHaveLength(3);
  firm.lines.forEach((line, i) => {
    const off = (of: readonly LineCell[]): number => Math.abs((of[i]?.deadTime.value ?? Number.NaN) - line.deadTime.value);
    const part = read.lines[i]?.shared.find((s) => s.source.quantity === 'supply-loss');
    expect(off(unread.lines), `${line.voltage} V`).toBeGreaterThan(2e-6);
    expect(off(read.lines), `${line.voltage} V`).toBeLessThan(off(unread.lines) / 3);
    expect(part?.onDeadTime).not.toBe(0);
    expect(read.lines[i]?.shared.some((s) => s.source.quantity === 'supply-inside-pulse')).toBe(false);
  });
}, 120_000);

test('EQ-11 RED-143 what was read is not taken for granted', () => {
  const { supply, ...rest } = sampleEquipment();
  const { insidePulseMv, ...silent } = supply;
  const record = { ...rest, supply: silent };
  expect(insidePulseMv).toBeDefined();
  expect(grantedSentences(record).join(' ')).toContain('supply.insidePulseMv');
  expect(grantedSentences(record, true)).toEqual([]);
});
