/**
 * What lies around an injector and is not the injector: wiring, clamp and the controller's clock. The faults are scripted on the
 * simulated bench, whose physics know nothing of the formulas that are held against them here.
 */
import { describe, expect, test } from 'vitest';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { LineCell } from '../../app/reduce/reduction.ts';
import { deadTimeByClamp, deadTimeByResistance, deadTimeByTemperature } from '../../app/reduce/sensitivity.ts';
import { labelOf } from '../../app/uncertainty/source.ts';
import { NOMINAL_INJECTOR } from '../../firmware-protocol/simulator/plant/injector-type.ts';
import { simulatePulse } from '../../firmware-protocol/simulator/plant/injector.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { reduction, runInProcess, sampleEquipment, samplePlan, scenario, withoutLeakChecks } from '../builders/in-process.ts';

const widths = [4, 5, 6, 8, 10, 12].map((ms) => ms / 1e3);

/** Crossing of the noise-free line of the simulated injector, s. */
function deadTime({ volts, clamp, series = 0.05, coilC = 25 }: { readonly volts: number; readonly clamp: number; readonly series?: number; readonly coilC?: number }): number {
  const masses = widths.map((width) => simulatePulse(NOMINAL_INJECTOR, { supply: volts, series, clamp }, 4e5, coilC, width).areaTime);
  const meanWidth = widths.reduce((a, b) => a + b, 0) / widths.length;
  const meanMass = masses.reduce((a, b) => a + b, 0) / widths.length;
  let sxx = 0;
  let sxy = 0;
  widths.forEach((w, i) => {
    sxx += (w - meanWidth) ** 2;
    sxy += (w - meanWidth) * ((masses[i] ?? 0) - meanMass);
  });
  return meanWidth - (meanMass * sxx) / sxy;
}

const derivative = (of: (x: number) => number, at: number, h: number): number => (of(at + h) - of(at - h)) / (2 * h);

describe('what the dead time follows', () => {
  const cases = [36, 40, 47, 54].flatMap((clamp) => [9, 10.5, 12, 14, 16].map((volts) => ({ clamp, volts })));

  test.each(cases)('RED-60 RED-61 RED-18: with a clamp of $clamp V at $volts V the formulas tell it within what they state', ({ clamp, volts }) => {
    const byClamp = deadTimeByClamp(volts, clamp);
    const trueByClamp = derivative((c) => deadTime({ volts, clamp: c }), clamp, 0.5);
    expect(trueByClamp).toBeGreaterThan(0);
    expect(Math.abs(byClamp.value - trueByClamp)).toBeLessThan(1.5 * byClamp.u);

    const slope = derivative((v) => deadTime({ volts: v, clamp }), volts, 0.1);
    const byVoltage = { value: slope, u: Math.abs(slope) * 0.05, from: 'neighbours' } as const;
    const here = deadTime({ volts, clamp });
    const withClamp = { clampV: clamp, sensitivity: byClamp };
    const byResistance = deadTimeByResistance(byVoltage, volts, here, withClamp, { ohm: 12.3, uRelative: 0.05, from: 'current' });
    const trueByResistance = derivative((ohm) => deadTime({ volts, clamp, series: ohm }), 0.05, 0.05);
    expect(Math.abs(byResistance.value - trueByResistance)).toBeLessThan(1.5 * byResistance.u);
    // Half of it at least is told, so that the correction is worth making.
    expect(byResistance.value / trueByResistance).toBeGreaterThan(0.5);

    const byTemperature = deadTimeByTemperature(byVoltage, volts, here, withClamp);
    const trueByTemperature = derivative((coilC) => deadTime({ volts, clamp, coilC }), 25, 10);
    expect(Math.abs(byTemperature.value - trueByTemperature)).toBeLessThan(1.5 * byTemperature.u);
  });
});

type BenchEquipment = Extract<Equipment, { equipmentVersion: 2 }>;
const record = (change: Partial<BenchEquipment> = {}): BenchEquipment => ({ ...(sampleEquipment() as BenchEquipment), ...change });
const version1 = (): Equipment => {
  const { name, meter, pressure, temperature, supply, fluid, ambientKpa } = record();
  return { equipmentVersion: 1, name, meter, pressure, temperature, supply, fluid, ambientKpa };
};

/** Half an hour of bench time, without noise and with instruments that are as their certificates say. */
const plan = samplePlan('small-plan', (small): Plan => ({
  ...withoutLeakChecks(small),
  settleS: 4,
  window: { ...small.window, minS: 12, maxS: 60, minEdges: 960 },
  injectors: small.injectors.slice(0, 1),
  axes: { ...small.axes, voltageV: [9, 11, 14], widthMs: [3, 4, 5, 6, 8] },
  reduction: { ...small.reduction, linearFromMs: 3 },
}));

async function measured(bench: Partial<Scenario>, equipment: Equipment) {
  const run = await runInProcess({ plan, scenario: scenario({ noise: false, instrumentErrors: false, timeBasePpm: 0, ...bench }), equipment });
  const lines = (): readonly LineCell[] => reduction(run.state).cells.flatMap((cell) => (cell.kind === 'line' ? [cell] : []));
  return { ...run, lines };
}

test('RED-60 RED-63: dead times are told for the voltage at the coil, whatever is lost on the way to it, and the record is what tells', async () => {
  const wiring = (harnessOhm: number) => record({ wiring: { sensedAt: 'supply', harnessOhm, harnessUncertaintyOhm: 0.01 } });
  const [direct, lossy, unaware] = [
    (await measured({ harnessOhm: 0 }, wiring(0))).lines(),
    (await measured({ harnessOhm: 0.3 }, wiring(0.3))).lines(),
    (await measured({ harnessOhm: 0.3 }, version1())).lines(),
  ];
  expect(direct.length).toBe(3);
  direct.forEach((cell, i) => {
    const [told, wrong] = [lossy[i], unaware[i]];
    if (told === undefined || wrong === undefined) throw new Error('a line is missing');
    // What the model of the coil leaves open, of which the loss on the way is a part (RED-93): one standard uncertainty of it.
    const part = (name: string): number => told.shared.find((s) => labelOf(s.source) === name)?.onDeadTime ?? Number.NaN;
    expect(Math.abs(told.deadTime.value - cell.deadTime.value)).toBeLessThan(Math.hypot(part('effect of the harness'), part('coil temperature model')));
    // 0.3 ohm is a fifth of a volt at 9 V.
    expect(wrong.deadTime.value - cell.deadTime.value).toBeGreaterThan(cell.voltage === 9 ? 25e-6 : 7e-6);
    const parts = ['harness resistance', 'effect of the harness', 'driver clamp', 'driver clamp of channel 1', 'controller time base'];
    expect(told.shared.map((s) => labelOf(s.source))).toEqual(expect.arrayContaining(parts));
    expect(wrong.shared.map((s) => labelOf(s.source)).filter((source) => parts.includes(source))).toEqual([]);
    expect(told.shared.find((s) => labelOf(s.source) === 'harness resistance')?.onDeadTime).toBeCloseTo(0.01 * (told.byResistance?.value ?? NaN), 12);
  });
});

test('RED-61: the clamp of a channel moves its dead times by what its part of the budget says', async () => {
  const [nominal, high] = [(await measured({ clampV: [47] }, record())).lines(), (await measured({ clampV: [49] }, record())).lines()];
  nominal.forEach((cell, i) => {
    const moved = (high[i]?.deadTime.value ?? NaN) - cell.deadTime.value;
    const parts = ['driver clamp', 'driver clamp of channel 1'].map((name) => cell.shared.find((s) => labelOf(s.source) === name)?.onDeadTime ?? NaN);
    expect(parts[0]).toBeCloseTo(parts[1] ?? NaN, 12);
    // 2 V is five times the stated 0.4 V.
    expect(moved / 5 / (parts[0] ?? NaN)).toBeGreaterThan(0.4);
    expect(moved / 5 / (parts[0] ?? NaN)).toBeLessThan(1.2);
  });
});

describe("the controller's clock", () => {
  const lenient = record({ timeBase: { kind: 'resonator', uncertaintyPpm: 2500, refuseAbovePpm: 20_000 } });

  test('RED-62 RUN-114 RUN-115: half a percent off moves slope and dead time as their budget says, and is seen with its sign', async () => {
    const right = await measured({}, lenient);
    const slow = await measured({ timeBasePpm: 5000 }, lenient);
    right.lines().forEach((cell, i) => {
      const other = slow.lines()[i];
      const part = cell.shared.find((s) => labelOf(s.source) === 'controller time base');
      if (other === undefined || part === undefined) throw new Error('a line or a part is missing');
      expect((other.slope.value - cell.slope.value) / part.onSlope).toBeCloseTo(2, 1);
      expect(Math.abs((other.deadTime.value - cell.deadTime.value) / part.onDeadTime - 2)).toBeLessThan(0.3);
    });
    const found = [...slow.state.clocks.values()];
    expect(found).toHaveLength(1);
    expect(Math.abs((found[0]?.difference ?? NaN) - 5000e-6)).toBeLessThan(2 * (found[0]?.u ?? NaN));
    expect(found[0]?.u).toBeLessThan(20e-6);
    const said = slow.events.flatMap((e) => (e.kind === 'clocks-compared' ? [e.text] : []));
    expect(said.at(-1)).toMatch(/millionths longer than one of this computer's.*more than a good crystal/);
    expect(right.events.flatMap((e) => (e.kind === 'clocks-compared' ? [e.text] : [])).at(-1)).not.toMatch(/good crystal/);
    expect(slow.verified).toBe(true);
  });

  test('RUN-116: farther off than the record allows, nothing is measured by it, and going on is refused in words', async () => {
    const refused: string[] = [];
    const run = await runInProcess({
      plan,
      scenario: scenario({ noise: false, timeBasePpm: -1200 }),
      equipment: record(),
      atRest: (rest, visit) => {
        if (rest.kind !== 'resting' || rest.mode !== 'tripped') return null;
        visit.command({ kind: 'acknowledge' });
        return null;
      },
      onEvents: (events, visit) => {
        if (events.some((e) => e.kind === 'paused')) refused.push(visit.command({ kind: 'resume' }).reason);
      },
    });
    expect(run.events.find((e) => e.kind === 'tripped')).toMatchObject({ guard: 'time-base', text: expect.stringMatching(/1\d\d\d ± .* shorter .* allows 500 millionths/) as string });
    expect(run.state.counts.accepted).toBeLessThan(plan.axes.widthMs.length);
    expect(run.state.ending).toBeNull();
  });

  test('RUN-114 RUN-117: the comparison is the same for the same bench, and begins anew after a reset of the controller', async () => {
    const reset: Partial<Scenario> = { noise: true, timeBasePpm: 40, faults: [{ begins: { atS: 120 }, fault: { kind: 'controller-reset' } }] };
    const [one, two] = [await measured(reset, record()), await measured(reset, record())];
    expect(one.state.clocks.size).toBe(2);
    for (const { difference, u } of one.state.clocks.values()) expect(Math.abs(difference - 40e-6)).toBeLessThan(2 * u);
    const told = (run: typeof one) => run.events.filter((e) => e.kind === 'clocks-compared');
    expect(told(two)).toEqual(told(one));
  });
});
