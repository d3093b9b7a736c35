/** What is stated of a line, part by part: every uncertainty worked out a second time, or by changing what it is an uncertainty of. */
import { describe, expect, it } from 'vitest';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { celsius, seconds } from '../quantities/quantity.ts';
import { coverageFactor, result } from '../uncertainty/budget.ts';
import { stateCarried } from '../uncertainty/carried.ts';
import { labelOf } from '../uncertainty/source.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { deadTimeCarried, lineMass, lineMassCarried, slopeCarried, widthMassCarried } from './carried-line.ts';
import { pressureExponents } from './pressure-exponent.ts';
import { reduceRun } from './reduce.ts';
import type { LineCell, Reduction, StaticFlow } from './reduction.ts';
import { fieller } from './regression.ts';
import { effectsOfResistance } from './resistance-effect.ts';
import type { ByLogResistance } from './sensitivity.ts';
import { deadTimeByClamp, deadTimeByResistance, deadTimeByTemperature } from './sensitivity.ts';
import { staticCarried } from './static-flow.ts';
import { noErrors, noScatter, quietScatter as quiet, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow, syntheticZero } from './synthetic.test-helper.ts';
import type { InstrumentErrors, SyntheticInjector, SyntheticScatter } from './synthetic.test-helper.ts';

interface Made {
  readonly equipment?: Equipment;
  readonly errors?: InstrumentErrors;
  readonly scatter?: SyntheticScatter;
  readonly injector?: (index: number) => SyntheticInjector;
  readonly change?: (window: WindowSummary, point: Point) => WindowSummary;
  /** The width that is really driven, of the one that was told. */
  readonly driven?: (width: number) => number;
}
function reduced(plan: Plan, { equipment = syntheticEquipment, errors = noErrors, scatter = quiet, injector = syntheticInjector, change = (w) => w, driven = (w) => w }: Made = {}): Reduction {
  const normal = normalFrom(21);
  const points = expandPlan(plan);
  const attempts = points.map((point) => ({
    point: point.index, attempt: 1,
    window: change(syntheticWindow({ ...point, width: seconds(driven(point.width)) }, injector(point.injector), plan, syntheticEquipment, errors, scatter, normal), point),
  }));
  return reduceRun({ plan, equipment, points, attempts });
}
const linesOf = (reduction: Reduction): readonly LineCell[] =>
  reduction.cells.map((cell) => {
    if (cell.kind !== 'line') throw new Error(cell.text);
    return cell;
  });
const lineOf = (reduction: Reduction, index = 0): LineCell => {
  const cell = linesOf(reduction)[index];
  if (cell === undefined) throw new Error('no line');
  return cell;
};
const part = (cell: LineCell, label: string) => {
  const found = cell.shared.find((s) => labelOf(s.source) === label);
  if (found === undefined) throw new Error(`no ${label}`);
  return found;
};

/** All widths, and each line by itself. */
const given = { linearFromMs: 1, slopeOverVoltage: 'own' } as const;
const { name, meter, pressure, temperature, supply, fluid, ambientKpa } = syntheticEquipment;
/** A curve whose points the flows of a line lie between. */
const curve = [{ hertz: 1, edgesPerLitre: 47_800 }, { hertz: 10, edgesPerLitre: 47_950 }, { hertz: 100, edgesPerLitre: 48_000 }];
const wired: Equipment = equipmentSchema.parse({
  equipmentVersion: 2, name, meter, pressure, temperature, supply, fluid, ambientKpa,
  controller: { model: 'C', serialNumber: 'C-1' },
  wiring: { sensedAt: 'supply', harnessOhm: 0.2, harnessUncertaintyOhm: 0.03 },
  driver: { type: 'clamp', clampV: 60, clampUncertaintyV: 1.5, channelUncertaintyV: 0.7 },
  timeBase: { kind: 'crystal', uncertaintyPpm: 40, refuseAbovePpm: 500 },
});
if (wired.equipmentVersion !== 2) throw new Error('version 2');

describe('RED-16 to RED-19 what the conditions do to a line', () => {
  it('RED-142 every part is one standard uncertainty of its instrument times what it changes', () => {
    const of = syntheticPlan({ voltageV: [9, 12, 16] }, 2, given);
    for (const cell of linesOf(reduced(of))) {
      const { byVoltage, byTemperature, slope, scatter } = cell;
      expect(part(cell, 'supply read-back')).toMatchObject({ onSlope: 0, onDeadTime: expect.closeTo(-byVoltage.value * 5e-3, 15) as number });
      expect(part(cell, 'coil against rail temperature').onDeadTime).toBeCloseTo(-byTemperature.value * 0.2, 15);
      // One kelvin over the reference.
      expect(part(cell, 'coil temperature model').onDeadTime / -byTemperature.u).toBeCloseTo(1, 6);
      const late = part(cell, 'coil that follows duty late');
      expect(late.onDeadTime).toBe(0);
      // RED-142: 0.75 K/W of V^2 / 14 ohm times the open part of the period, of which a second of settling and two of a window leave 16 % in the mean.
      const kelvins = 0.75 * (cell.voltage ** 2 / 14) * (scatter.distance / cell.period) * Math.exp(-of.settleS) * ((1 - Math.exp(-2)) / 2);
      expect([of.settleS, of.window.minS]).toEqual([1, 2]);
      expect(late.onSlope / ((-slope.value * byTemperature.value * kelvins) / Math.sqrt(3) / scatter.distance)).toBeCloseTo(1, 9);
      expect(cell.shared.some((s) => s.source.quantity === 'leak-path')).toBe(false);
    }
  });

  it('all of them together are what is stated, and none twice', () => {
    for (const cell of linesOf(reduced(syntheticPlan({ voltageV: [9, 12], pressureKpa: [300, 400] }, 2, { linearFromMs: 1 }), { equipment: wired }))) {
      expect(new Set(cell.shared.map((s) => s.source.key)).size).toBe(cell.shared.length);
      expect(cell.slope.uShared / Math.hypot(...cell.shared.map((s) => s.onSlope))).toBeCloseTo(1, 12);
      expect(cell.deadTime.uShared / Math.hypot(...cell.shared.map((s) => s.onDeadTime))).toBeCloseTo(1, 12);
      expect(cell.covarianceShared / cell.shared.reduce((sum, s) => sum + s.onSlope * s.onDeadTime, 0)).toBeCloseTo(1, 12);
      expect([cell.slope.uRandom, cell.slope.dofRandom]).toEqual([expect.closeTo(cell.scatter.uSlope, 15), expect.closeTo(cell.scatter.dof, 6)]);
      // Shared parts are known as well as one likes (GUM G.4.2): they bring no doubt of their own size.
      expect(cell.deadTime.effectiveDof / (cell.scatter.dof * (cell.deadTime.u / cell.deadTime.uRandom) ** 4)).toBeCloseTo(1, 6);
      // The dead time is centre less height over slope, the two of them independent.
      expect(cell.deadTime.uRandom / (Math.hypot(cell.scatter.uMean, cell.scatter.distance * cell.scatter.uSlope) / cell.slope.value)).toBeCloseTo(1, 9);
      expect(cell.covarianceRandom / ((cell.scatter.distance / cell.slope.value) * cell.scatter.uSlope ** 2)).toBeCloseTo(1, 9);
    }
  });

  it('RED-14: a point of the K-curve moves slope and dead time by its parts, whether voltages share a slope or not', () => {
    const off = (hertz: number): Equipment => ({ ...syntheticEquipment, meter: { ...meter, kFactor: curve.map((k) => (k.hertz === hertz ? { ...k, edgesPerLitre: k.edgesPerLitre * 1.0002 } : k)) } });
    const known: Equipment = { ...syntheticEquipment, meter: { ...meter, kFactor: curve.map((k) => ({ ...k, ownUncertaintyPercent: 0.02 })) } };
    for (const slopeOverVoltage of ['own', 'shared'] as const) {
      const plan = syntheticPlan({ voltageV: [9, 12, 16] }, 2, { linearFromMs: 1, slopeOverVoltage });
      const base = linesOf(reduced(plan, { equipment: known }));
      for (const hertz of [10, 100]) {
        linesOf(reduced(plan, { equipment: off(hertz) })).forEach((moved, i) => {
          const cell = base[i] as LineCell;
          const { onSlope, onDeadTime } = part(cell, `meter K-factor at ${hertz} Hz`);
          expect((moved.slope.value - cell.slope.value) / onSlope, `${slopeOverVoltage} ${hertz} slope`).toBeCloseTo(1, 1);
          expect((moved.deadTime.value - cell.deadTime.value) / onDeadTime, `${slopeOverVoltage} ${hertz} dead time`).toBeCloseTo(1, 1);
        });
      }
    }
  });

  it('RED-16, RED-17, RED-18: what refers the windows is stated: the distance from the plan times what it changes', () => {
    const plan = syntheticPlan({ voltageV: [9, 12, 16], pressureKpa: [300, 400] }, 1, given);
    const points = expandPlan(plan);
    const moved = (window: WindowSummary, { voltage, pressure: at }: Point): WindowSummary => ({ ...window, supply: { mean: (voltage + 0.03) as WindowSummary['supply']['mean'], sd: 0 }, pressure: { mean: (at - 700) as WindowSummary['pressure']['mean'], sd: 0 }, railTemperature: { mean: celsius(22), sd: 0 } });
    for (const cell of linesOf(reduced(plan, { scatter: noScatter, change: moved }))) {
      const { byVoltage, byPressure, byTemperature, referred } = cell;
      // The first fit tells the changes, the second nearly the same.
      expect(referred.toVoltage / (-0.03 * byVoltage.value)).toBeCloseTo(1, 1);
      expect(referred.toPressure / (700 * byPressure.value)).toBeCloseTo(1, 1);
      expect(Math.abs(referred.toTemperature + 2 * byTemperature.value)).toBeLessThan(0.2 * byTemperature.u);
      expect(referred.toCoil).toBe(0);
      const apart = reduced({ ...plan, axes: { ...plan.axes, voltageV: [cell.voltage], pressureKpa: [cell.pressure / 1e3] } }, { scatter: noScatter, change: moved });
      expect(lineOf(apart).byVoltage.from).toBe('default');
      expect(byVoltage.from).toBe('neighbours');
      expect(byPressure.from).toBe('neighbours');
    }
    expect(points.length).toBe(126);
  });

  it('states the slope of both neighbours: over voltage at one pressure, over pressure at one voltage', () => {
    const plan = syntheticPlan({ voltageV: [9, 12, 16], pressureKpa: [200, 300, 400] }, 1, given);
    const { deadTime } = syntheticInjector(0);
    for (const cell of linesOf(reduced(plan, { scatter: noScatter }))) {
      const h = 1e-3;
      type V = Parameters<typeof deadTime>[0];
      type P = Parameters<typeof deadTime>[1];
      const byPressure = (deadTime(cell.voltage, (cell.pressure + 1) as P) - deadTime(cell.voltage, (cell.pressure - 1) as P)) / 2;
      const byVoltage = (deadTime((cell.voltage + h) as V, cell.pressure) - deadTime((cell.voltage - h) as V, cell.pressure)) / (2 * h);
      expect(cell.byPressure.value / byPressure).toBeCloseTo(1, 3);
      expect(Math.abs(cell.byVoltage.value / byVoltage - 1)).toBeLessThan(0.25);
    }
  });
});

describe('RED-60 to RED-63 what the bench does to a line', () => {
  const plan = syntheticPlan({ voltageV: [9, 12, 16] }, 2, given);

  it('RED-63: nothing of it by a record of version 1', () => {
    for (const cell of linesOf(reduced(plan))) {
      expect(cell.shared.map((s) => s.source.quantity)).toEqual(expect.not.arrayContaining(['harness-resistance', 'harness-effect', 'driver-clamp', 'driver-clamp-channel', 'time-base']));
      expect([cell.byClamp, cell.byResistance, cell.referred.toCoil]).toEqual([undefined, undefined, 0]);
      expect(cell.byTemperature).toEqual(deadTimeByTemperature(cell.byVoltage, cell.voltage, cell.deadTime.value));
    }
  });

  /** As the dead times of all voltages of its injector tell it. */
  const toldOf = (cells: readonly LineCell[], cell: LineCell): ByLogResistance => {
    const siblings = cells.filter((c) => c.injector === cell.injector);
    const told = effectsOfResistance(60)(siblings.map((c) => ({ at: c.voltage, deadTime: c.deadTime.value, u: c.deadTime.uRandom })))[siblings.indexOf(cell)];
    if (told === undefined) throw new Error('nothing is told');
    return told;
  };

  it('RED-170: with one voltage alone, and by a record that does not state the clamp, only the usual movements are known', () => {
    const [alone] = linesOf(reduced(syntheticPlan({ voltageV: [12] }, 1, given), { equipment: wired }));
    if (alone === undefined) throw new Error('no line');
    const clamp = { clampV: 60, sensitivity: deadTimeByClamp(12, 60) };
    expect(alone.byTemperature).toEqual(deadTimeByTemperature(alone.byVoltage, 12, alone.deadTime.value, clamp));
    // Dead times that rise with the voltage are no coil's.
    const rising = linesOf(reduced(syntheticPlan({ voltageV: [9, 12] }, 1, given), { equipment: wired, injector: (i) => ({ ...syntheticInjector(i), deadTime: (v) => 8e-4 + 1e-5 * v }) }));
    for (const cell of rising) expect(cell.byTemperature).toEqual(deadTimeByTemperature(cell.byVoltage, cell.voltage, cell.deadTime.value, { clampV: 60, sensitivity: deadTimeByClamp(cell.voltage, 60) }));
    expect(rising.map((c) => c.byVoltage.from)).toEqual(['default', 'default']);
    // Several voltages of several injectors: each by its own.
    const cells = linesOf(reduced(plan, { equipment: wired }));
    expect(cells.length).toBe(6);
    for (const cell of cells) {
      expect(cell.byTemperature.value / (0.00393 * toldOf(cells, cell).value)).toBeCloseTo(1, 9);
      expect(cell.byTemperature.u / (0.00393 * toldOf(cells, cell).u)).toBeCloseTo(1, 9);
    }
  });

  it('RED-60, RED-61: harness and clamp by what the record knows of them, each channel by itself', () => {
    const cells = linesOf(reduced(plan, { equipment: wired }));
    for (const cell of cells) {
      const sensitivity = deadTimeByClamp(cell.voltage, 60);
      const byResistance = deadTimeByResistance(cell.byVoltage, cell.voltage, cell.deadTime.value, { clampV: 60, sensitivity }, { ohm: 14, uRelative: 3 / 14 / Math.sqrt(3), from: 'default' }, toldOf(cells, cell));
      expect(cell.byClamp).toEqual(sensitivity);
      expect(cell.byResistance).toEqual(byResistance);
      expect(cell.byTemperature).toEqual(deadTimeByTemperature(cell.byVoltage, cell.voltage, cell.deadTime.value, { clampV: 60, sensitivity }, toldOf(cells, cell)));
      expect(part(cell, 'harness resistance').onDeadTime / (byResistance.value * 0.03)).toBeCloseTo(1, 12);
      // RED-93: what dt0/dlnR is not known by is one error of both; beside it stands the resistance, from 11 to 17 ohm.
      expect(part(cell, 'effect of the harness').onDeadTime / (Math.abs(byResistance.value) * (3 / 14 / Math.sqrt(3)) * 0.2)).toBeCloseTo(1, 9);
      expect(part(cell, 'driver clamp').onDeadTime / (sensitivity.value * 1.5)).toBeCloseTo(1, 12);
      expect(part(cell, `driver clamp of channel ${cell.injector + 1}`).onDeadTime / (sensitivity.value * 0.7)).toBeCloseTo(1, 12);
      for (const label of ['harness resistance', 'effect of the harness', 'driver clamp']) expect(part(cell, label).onSlope).toBe(0);
    }
    const alike: Equipment = { ...wired, driver: { type: 'clamp', clampV: 60, clampUncertaintyV: 1.5 } };
    expect(part(lineOf(reduced(plan, { equipment: alike })), 'driver clamp of channel 1').onDeadTime).toBe(0);
  });

  it('RED-93: what a warmer coil and the harness do is known from one dt0/dlnR, and its error moves both the same way', () => {
    for (const [warmer, cells] of [[0, linesOf(reduced(plan, { equipment: wired, scatter: noScatter }))], [3, linesOf(reduced(plan, { equipment: wired, scatter: { ...noScatter, warmer: 3 } }))]] as const) {
      for (const cell of cells) {
        const ofLog = cell.byTemperature.u / 0.00393;
        expect(Math.abs(part(cell, 'coil temperature model').onDeadTime) / (ofLog * (0.00393 * warmer + 0.2 / 14)), `${warmer} K`).toBeCloseTo(1, 6);
      }
    }
  });

  it('RED-60: refers every window to a coil without the harness', () => {
    const without = { ...wired, wiring: { sensedAt: 'supply', harnessOhm: 0, harnessUncertaintyOhm: 0 } } as Equipment;
    const [bare, cells] = [without, wired].map((equipment) => linesOf(reduced(plan, { equipment }))) as [readonly LineCell[], readonly LineCell[]];
    cells.forEach((cell, i) => {
      const toCoil = -(cell.byResistance?.value ?? 0) * 0.2;
      // The first fit tells it, whose dead times still have the harness in them.
      expect(Math.abs(cell.referred.toCoil / toCoil - 1)).toBeLessThan(0.45);
      expect(Math.abs((cell.deadTime.value - (bare[i]?.deadTime.value ?? 0)) / cell.referred.toCoil - 1)).toBeLessThan(0.02);
      expect(cell.slope.value / (bare[i]?.slope.value ?? 0)).toBeCloseTo(1, 5);
    });
  });

  it('RED-60: takes the resistance of the circuit from the currents that the windows state', () => {
    const current = (window: WindowSummary, { voltage, width, period }: Point): WindowSummary => ({ ...window, current: { mean: ((voltage / 11.5) * (width - 8e-4)) / period, sd: 0 } }) as WindowSummary;
    const cells = linesOf(reduced(plan, { equipment: wired, change: current }));
    for (const cell of cells) {
      const sensitivity = deadTimeByClamp(cell.voltage, 60);
      const byResistance = deadTimeByResistance(cell.byVoltage, cell.voltage, cell.deadTime.value, { clampV: 60, sensitivity }, { ohm: 11.5, uRelative: 0.05, from: 'current' }, toldOf(cells, cell));
      expect((cell.byResistance?.value ?? 0) / byResistance.value).toBeCloseTo(1, 9);
      expect((cell.byResistance?.u ?? 0) / byResistance.u).toBeCloseTo(1, 9);
    }
  });

  it('RED-62: pulses that are longer than told give a greater slope and static flow and a smaller dead time, by the parts', () => {
    const held = syntheticPlan({ voltageV: [9, 12] }, 1, given, { static: { replicates: 2, voltageV: 12, periodMs: 20 } });
    const far = { ...wired, timeBase: { kind: 'crystal', uncertaintyPpm: 1000, refuseAbovePpm: 1e4 } } as Equipment;
    // A held-open pulse stays open: of it a second that is longer only lets more through, so it is asked of the line here.
    const base = reduced(held, { equipment: far, scatter: noScatter });
    const moved = reduced(held, { equipment: far, scatter: noScatter, driven: (w) => w * 1.001 });
    linesOf(base).forEach((cell, i) => {
      const { onSlope, onDeadTime } = part(cell, 'controller time base');
      expect((lineOf(moved, i).slope.value - cell.slope.value) / onSlope).toBeCloseTo(1, 2);
      expect((lineOf(moved, i).deadTime.value - cell.deadTime.value) / onDeadTime).toBeCloseTo(1, 2);
    });
    const [flow] = base.staticFlows;
    if (flow?.kind !== 'static-flow') throw new Error('no static flow');
    expect((flow.shared.find((s) => s.source.quantity === 'time-base')?.effect ?? 0) / flow.flow.value).toBeCloseTo(1e-3, 12);
    const exact = { ...wired, timeBase: { kind: 'crystal', uncertaintyPpm: 0, refuseAbovePpm: 1e4 } } as Equipment;
    const [none] = reduced(held, { equipment: exact }).staticFlows;
    expect(none?.kind === 'static-flow' && none.shared.some((s) => s.source.quantity === 'time-base')).toBe(false);
  });
});

describe('RED-43 to RED-45 what a leak does to a line', () => {
  const zero: Plan['zero'] = { windowS: 60, settleS: 3, decayS: 0, deadTimeUs: 1 };
  const flow = 0.1e-6 / 60;
  const leaking = (reduction: Partial<Plan['reduction']>): Reduction => {
    const plan = syntheticPlan({ voltageV: [9, 12] }, 2, { ...given, ...reduction }, { zero });
    const points = expandPlan(plan);
    const normal = normalFrom(3);
    const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: point.role === 'zero' ? syntheticZero(point, syntheticEquipment, flow * (1 + 0.1 * (point.index / points.length)), 60, 0.4) : syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, quiet, normal, flow) }));
    return reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
  };
  const free = { leakTimesU95: 1e6, leakChangeTimesU95: 1e6, leakUncertaintyTimesU95: 1e6 };

  it('is stated with its effect: what it moved, how well that is known, and how it changed', () => {
    const reduction = leaking(free);
    for (const cell of linesOf(reduction)) {
      const here = reduction.windows.filter((w) => w.at.role === 'measure' && w.at.injector === cell.injector && w.at.voltage === cell.voltage);
      const [block] = reduction.leak.kind === 'leak' ? reduction.leak.blocks.filter((b) => b.voltage === cell.voltage) : [];
      const perFlow = here.reduce((sum, { outcome }) => sum + (outcome.kind === 'mass' ? outcome.meterDensity * 0.02 * outcome.pressureFactor * outcome.temperatureFactor : 0), 0) / here.length;
      if (block === undefined || cell.leak === null) throw new Error('no leak');
      expect(cell.leak.flow).toBeCloseTo(block.flow, 15);
      expect(cell.leak.shift / ((perFlow * block.flow) / cell.slope.value)).toBeCloseTo(1, 9);
      expect(cell.leak.change / ((perFlow * Math.abs(block.change)) / cell.slope.value)).toBeCloseTo(1, 9);
      expect(cell.leak.contradiction).toBe(0);
      const parts = cell.shared.filter((s) => s.source.quantity.startsWith('leak'));
      expect(parts.map((s) => s.source.quantity).sort()).toEqual(['leak', 'leak-change', 'leak-meter', 'leak-path']);
      expect(cell.leak.u / Math.hypot(...parts.map((s) => s.onDeadTime))).toBeCloseTo(1, 9);
      const path = part(cell, `leak path of injector ${cell.injector + 1}`);
      expect([path.onDeadTime, path.onSlope / ((-perFlow * block.flow) / 0.02 / Math.sqrt(3))]).toEqual([0, expect.closeTo(1, 9)]);
      expect(cell.leak.again).toBeNull();
      // A leak moves the dead time by L over k times the density and leaves the slope.
      const of = parts.find((s) => s.source.quantity === 'leak');
      expect((of?.onDeadTime ?? 0) / ((perFlow * block.uFlow) / cell.slope.value)).toBeCloseTo(1, 2);
      expect(Math.abs((of?.onSlope ?? 1) / cell.slope.value)).toBeLessThan(1e-6);
    }
  });

  it('is refused or marked by how that stands to the U95 without a leak', () => {
    const cells = linesOf(leaking(free));
    const times = (read: (effect: NonNullable<LineCell['leak']>) => number): number[] =>
      cells.map((cell) => {
        const others = Math.hypot(...cell.shared.filter((s) => !s.source.quantity.startsWith('leak')).map((s) => s.onDeadTime));
        if (cell.leak === null) throw new Error('no leak');
        return read(cell.leak) / result(0, cell.deadTime.uRandom, cell.deadTime.dofRandom, others).expanded;
      });
    const [shift, change, u] = [times((l) => l.shift), times((l) => l.change), times((l) => 2 * l.u)];
    for (const factor of [0.999, 1.001]) {
      const by = (limits: Partial<Plan['reduction']>): readonly unknown[] => leaking({ ...free, ...limits }).cells.map((c) => (c.kind === 'line' ? (c.leak?.again == null ? 'stands' : 'again') : c.reason));
      const told = (list: readonly number[], limit: number, beyond: string): readonly string[] => list.map((t) => (t > limit ? beyond : 'stands'));
      const [s = 0] = shift;
      expect(by({ leakTimesU95: s * factor })).toEqual(told(shift, s * factor, 'leak'));
      const [c = 0] = change;
      expect(by({ leakChangeTimesU95: c * factor })).toEqual(told(change, c * factor, 'leak'));
      const [v = 0] = u;
      expect(by({ leakUncertaintyTimesU95: v * factor })).toEqual(told(u, v * factor, 'again'));
    }
  });
});

describe('RED-15, RED-19 intervals', () => {
  const fitOf = (cell: LineCell) => ({
    n: 0, dof: cell.scatter.dof, meanX: cell.deadTime.value + cell.scatter.distance, meanY: cell.slope.value * cell.scatter.distance, slope: cell.slope.value,
    chiSquared: 0, varianceOfMean: cell.scatter.uMean ** 2, varianceOfSlope: cell.scatter.uSlope ** 2, scale: 1,
  });

  it('are the value and U95 on either side while g is at most 0.05, and beyond it those of Fieller with the shared part in squares', () => {
    const methods = new Set<string>();
    for (const relative of [1e-3, 0.01, 0.02, 0.03, 0.04, 0.06]) {
      for (const cell of linesOf(reduced(syntheticPlan({ widthMs: [4, 4.5, 5, 5.5], voltageV: [12, 14] }, 2, given), { scatter: { ...noScatter, relative }, equipment: { ...syntheticEquipment, supply: { ...supply, uncertaintyMv: 500 } } }))) {
        const { low, high, method } = cell.deadTimeInterval;
        methods.add(method);
        const random = fieller(fitOf(cell), coverageFactor(cell.scatter.dof));
        if (!random.bounded) throw new Error('unbounded');
        expect(method).toBe(random.g > 0.05 ? 'fieller' : 'delta');
        const { value, expanded, uShared } = cell.deadTime;
        const [below, above] = method === 'delta' ? [expanded, expanded] : [Math.hypot(value - random.low, 1.959964 * uShared), Math.hypot(random.high - value, 1.959964 * uShared)];
        expect((value - low) / below).toBeCloseTo(1, 6);
        expect((high - value) / above).toBeCloseTo(1, 6);
        expect(expanded / (coverageFactor(cell.deadTime.effectiveDof) * Math.hypot(cell.deadTime.uRandom, uShared))).toBeCloseTo(1, 9);
      }
    }
    expect(methods).toEqual(new Set(['delta', 'fieller']));
  });
});

describe('RED-27, RED-66 values that carry their errors', () => {
  const cellOf = (choice: 'own' | 'shared'): LineCell => lineOf(reduced(syntheticPlan({ voltageV: [9, 12, 16] }, 2, { linearFromMs: 1, slopeOverVoltage: choice }), { equipment: wired }), 1);
  const shiftedBy = (cell: LineCell, slope: number, deadTime: number): LineCell => ({ ...cell, slope: { ...cell.slope, value: cell.slope.value + slope }, deadTime: { ...cell.deadTime, value: cell.deadTime.value + deadTime } });

  it('the mass of a line feels every error by what it moves of slope and dead time', () => {
    for (const cell of [cellOf('own'), cellOf('shared')]) {
      const width = 4.3e-3;
      const mass = lineMassCarried(cell, width);
      expect(lineMass(cell, width)).toBeCloseTo(cell.slope.value * (width - cell.deadTime.value), 18);
      for (const { source, onSlope, onDeadTime } of cell.shared) {
        const h = 1e-4;
        const change = (lineMass(shiftedBy(cell, h * onSlope, h * onDeadTime), width) - lineMass(cell, width)) / h;
        const effect = mass.parts.get(source.key)?.effect ?? Number.NaN;
        expect(Math.abs(effect - change)).toBeLessThan(1e-3 * Math.abs(change) + 1e-16);
      }
      // Of the scatter: height at the centre, and tilt by the distance from it.
      const centre = cell.deadTime.value + cell.scatter.distance;
      expect(stateCarried(mass).uRandom / Math.hypot(cell.scatter.uMean, (width - centre) * cell.scatter.uSlope)).toBeCloseTo(1, 9);
      expect(stateCarried(slopeCarried(cell)).uRandom / cell.scatter.uSlope).toBeCloseTo(1, 12);
      expect(stateCarried(deadTimeCarried(cell)).uRandom / cell.deadTime.uRandom).toBeCloseTo(1, 9);
      expect(mass.parts.get(cell.scatter.slopeParts[0]?.source.key ?? '')).toMatchObject({ kind: 'random', dof: cell.scatter.dof, scale: cell.scatter.scale });
    }
  });

  it('the mean of a width has the scatter of its own windows, and moves with the line', () => {
    const cell = cellOf('own');
    const [, at] = cell.widths;
    if (at === undefined) throw new Error('no width');
    const mass = widthMassCarried(cell, at);
    expect(mass.value).toBe(at.mass);
    const stated = stateCarried(mass);
    expect(stated.uRandom / at.uMass).toBeCloseTo(1, 12);
    expect(stated.dofRandom).toBeCloseTo(cell.scatter.dof, 6);
    expect(stated.uShared / stateCarried(lineMassCarried(cell, at.width)).uShared).toBeCloseTo(1, 9);
    for (const { source, onSlope, onDeadTime } of cell.shared) {
      expect(mass.parts.get(source.key)?.effect).toBeCloseTo(onSlope * (at.width - cell.deadTime.value) - cell.slope.value * onDeadTime, 15);
    }
  });

  it('RED-24: Qs over m feels only what the two do not share', () => {
    const held = syntheticPlan({ voltageV: [12], pressureKpa: [300, 400] }, 2, given, { static: { replicates: 3, voltageV: 12, periodMs: 20 } });
    const reduction = reduced(held, { equipment: wired });
    for (const cell of linesOf(reduction)) {
      const flow = reduction.staticFlows.find((s): s is Extract<StaticFlow, { kind: 'static-flow' }> => s.kind === 'static-flow' && s.injector === cell.injector && s.pressure === cell.pressure);
      if (flow === undefined || cell.staticToSlope === null) throw new Error('no static flow');
      const [q, k] = [flow.flow.value, cell.slope.value];
      expect(cell.staticToSlope.value).toBeCloseTo(q / k, 12);
      const sources = new Set([...flow.shared, ...cell.shared].map((s) => s.source.key));
      const shared = [...sources].map((key) => (flow.shared.find((s) => s.source.key === key)?.effect ?? 0) / k - ((q / k) * (cell.shared.find((s) => s.source.key === key)?.onSlope ?? 0)) / k);
      expect(cell.staticToSlope.uShared / Math.hypot(...shared)).toBeCloseTo(1, 9);
      expect(cell.staticToSlope.uRandom / (Math.hypot(flow.scatter.u / q, cell.scatter.uSlope / k) * (q / k))).toBeCloseTo(1, 9);
      expect(stateCarried(staticCarried(flow)).u / flow.flow.u).toBeCloseTo(1, 12);
    }
  });
});

describe('RED-35 the pressure exponent of two pressures', () => {
  it('is the ratio of the logarithms, with the errors that the two do not share', () => {
    const plan = syntheticPlan({ pressureKpa: [250, 400], voltageV: [12] }, 2, given, { static: { replicates: 3, voltageV: 12, periodMs: 20 } });
    const reduction = reduced(plan);
    const found = pressureExponents(reduction);
    expect(found.map((e) => [e.injector, e.kind, e.kind === 'exponent' ? e.of.quantity : ''])).toEqual([[0, 'exponent', 'slope'], [1, 'exponent', 'slope'], [0, 'exponent', 'static-flow'], [1, 'exponent', 'static-flow']]);
    found.forEach((e) => {
      if (e.kind !== 'exponent') throw new Error(e.text);
      const flows = e.of.quantity === 'slope' ? linesOf(reduction).filter((c) => c.injector === e.injector).map(slopeCarried) : reduction.staticFlows.flatMap((s) => (s.kind === 'static-flow' && s.injector === e.injector ? [staticCarried(s)] : []));
      const [low, high] = flows;
      if (low === undefined || high === undefined) throw new Error('two pressures');
      const span = Math.log(400 / 250);
      expect(e.pressures).toEqual([250e3, 400e3]);
      expect(e.serialNumber).toBe(`S-${e.injector + 1}`);
      expect(e.exponent.value).toBeCloseTo(Math.log(high.value / low.value) / span, 9);
      const of = (flow: typeof low, key: string): number => (flow.parts.get(key)?.effect ?? 0) / flow.value / span;
      // RED-103: nobody says that the transducer's errors at two pressures are one.
      const effects = [...new Set([...low.parts.keys(), ...high.parts.keys()])].map((key) => (key === 'rail-pressure' ? Math.hypot(of(high, key), of(low, key)) : of(high, key) - of(low, key)));
      expect(e.exponent.u / Math.hypot(...effects)).toBeCloseTo(1, 9);
      expect(e.agreesWithOrifice).toBe(Math.abs(e.exponent.value - 0.5) <= e.exponent.expanded);
    });
    const steep = (index: number): SyntheticInjector => ({ ...syntheticInjector(index), slope: (p) => 3.95e-3 * (p / 4e5) ** 0.6 });
    const [far] = pressureExponents(reduced(plan, { injector: steep }));
    expect(far?.kind === 'exponent' && far.agreesWithOrifice).toBe(false);
    expect(far?.kind === 'exponent' && far.exponent.value).toBeCloseTo(0.6, 1);
  });
});

describe('RED-35, RED-103 whether flows follow one power of pressure', () => {
  // Equal steps in the logarithm: the middle flow is off a power by d, its residuals are d (-1/3, 2/3, -1/3), and the exponent does not feel it.
  const kPa = [256, 320, 400];
  const flawless = reduced(syntheticPlan({ pressureKpa: kPa, voltageV: [12] }, 1, given));
  const offBy = (d: number): Reduction => ({
    ...flawless,
    cells: linesOf(flawless).map((c) => ({ ...c, slope: { ...c.slope, value: 4e-3 * Math.sqrt(c.pressure / 4e5) * (c.pressure === 320e3 ? Math.exp(d) : 1) } })),
  });
  /** Mean relative variance that the flows bring themselves: their scatter, and the transducer anew at each pressure. */
  const typicalOf = (reduction: Reduction): number =>
    linesOf(reduction).map(slopeCarried).reduce((sum, flow) => sum + ((flow.parts.get('rail-pressure')?.effect ?? 0) ** 2 + stateCarried(flow).uRandom ** 2) / flow.value ** 2, 0) / kPa.length;
  const told = (reduction: Reduction) => {
    const [e] = pressureExponents(reduction);
    if (e?.kind !== 'exponent') throw new Error('no exponent');
    return e;
  };

  it('is asked by chi-square at 5 %: 3.841 at one degree of freedom (published tables), from three pressures on', () => {
    const typical = typicalOf(offBy(0));
    expect(typical).toBeGreaterThan(0);
    for (const sign of [1, -1]) {
      const [below, above] = [0.97, 1.03].map((part) => told(offBy(sign * Math.sqrt(1.5 * 3.841 * part * typical))).fit);
      expect([below, above]).toEqual(['one-power', 'other-shape']);
    }
    expect(told(offBy(0))).toMatchObject({ fit: 'one-power', agreesWithOrifice: true });
    expect(told(reduced(syntheticPlan({ pressureKpa: [256, 400], voltageV: [12] }, 1, given))).fit).toBe('not-tested');
  });

  it('where they do not, the exponent is less sure by what they stand off it beyond their own errors', () => {
    const d = 0.01;
    const bent = offBy(d);
    const [straight, wide] = [told(offBy(0)).exponent, told(bent).exponent];
    expect(wide.value).toBeCloseTo(straight.value, 12);
    // Standard error of a slope by residuals with one degree of freedom; x = ln p.
    const sxx = 2 * Math.log(1.25) ** 2;
    expect((wide.u ** 2 - straight.u ** 2) / (((2 / 3) * d * d - typicalOf(bent)) / sxx)).toBeCloseTo(1, 6);
  });
});

describe('RED-20, RED-25, RED-26 what stands in a cell', () => {
  const plan = syntheticPlan({ voltageV: [14, 9], pressureKpa: [400, 300], widthMs: [2, 3, 4, 5, 6, 8], replicates: 3 }, 3, { linearFromMs: 3, slopeOverVoltage: 'own' });

  it('cells stand by pressure, period, injector and voltage, each with its place', () => {
    const twoPeriods = syntheticPlan({ voltageV: [14, 9], pressureKpa: [400, 300], periodMs: [40, 20], widthMs: [3, 4, 5, 6], replicates: 1 }, 2, given);
    const places = linesOf(reduced(twoPeriods)).map((c) => [c.pressure, c.period, c.injector, c.voltage]);
    expect(places).toHaveLength(16);
    expect(places).toEqual([300e3, 400e3].flatMap((p) => [0.02, 0.04].flatMap((t) => [0, 1].flatMap((i) => [9, 14].map((v) => [p, t, i, v])))));
    expect(linesOf(reduced(twoPeriods)).every((c) => c.serialNumber === `S-${c.injector + 1}`)).toBe(true);
  });

  it('names region, widths with their deviation from the line, and the windows that it went through', () => {
    for (const cell of linesOf(reduced(plan))) {
      expect(cell.region).toEqual({ from: 3e-3, to: 8e-3, stop: { kind: 'given' } });
      expect(cell.widths.map((w) => [w.width, w.windows, w.inRegion])).toEqual([8, 6, 5, 4, 3, 2].map((ms) => [ms / 1e3, 3, ms >= 3]));
      for (const w of cell.widths) {
        expect(w.deviationPercent).toBeCloseTo(100 * (w.mass / lineMass(cell, w.width) - 1), 9);
        expect(w.repeatability?.dof).toBe(6);
      }
      expect(cell.sources).toHaveLength(15);
      expect(cell.slopeFrom).toBe('own');
    }
  });

  it('RED-26: repeatability is pooled over the injectors of one type at one place, relative to their means', () => {
    const types = (type: (i: number) => string): Plan => ({ ...plan, injectors: plan.injectors.map((one, i) => ({ ...one, type: type(i) })) });
    const percentOf = (reduction: Reduction, injectors: readonly number[], voltage: number, at: number, width: number): number => {
      let squares = 0;
      let dof = 0;
      for (const injector of injectors) {
        // Masses as they were measured: what refers them to the plan is less than a thousandth of their scatter here.
        const masses = reduction.windows.flatMap(({ at: p, outcome }) => (outcome.kind === 'mass' && p.injector === injector && p.voltage === voltage && p.pressure === at && p.width === width ? [outcome.mass] : []));
        const mean = masses.reduce((sum, m) => sum + m, 0) / masses.length;
        squares += masses.reduce((sum, m) => sum + (m / mean - 1) ** 2, 0);
        dof += masses.length - 1;
      }
      return 100 * Math.sqrt(squares / dof);
    };
    const still = { ...quiet, voltage: 0, pressure: 0 };
    const reduction = reduced(types((i) => (i === 1 ? 'U' : 'T')), { scatter: still });
    for (const cell of linesOf(reduction)) {
      const family = cell.injector === 1 ? [1] : [0, 2];
      for (const w of cell.widths) {
        expect(w.repeatability?.dof).toBe(2 * family.length);
        expect((w.repeatability?.percent ?? 0) / percentOf(reduction, family, cell.voltage, cell.pressure, w.width)).toBeCloseTo(1, 2);
      }
    }
  });

  it('RED-25: has no linear flow range where not even the longest width keeps the limit', () => {
    const bent = (index: number): SyntheticInjector => ({ ...syntheticInjector(index), bend: (w) => (w > 7e-3 ? 3e-7 : w > 5.5e-3 ? -3e-7 : 0) });
    const tight = { ...plan, reduction: { ...plan.reduction, linearFlowRangePercent: 0.05 } };
    expect(linesOf(reduced(tight, { injector: bent })).every((c) => c.flowRange === null)).toBe(true);
    for (const c of linesOf(reduced({ ...plan, reduction: { ...plan.reduction, linearFlowRangePercent: 20 } }))) {
      expect(c.flowRange).toMatchObject({ from: 2e-3, to: 8e-3, reenters: [], ratio: expect.closeTo((c.widths[0]?.mass ?? 0) / (c.widths.at(-1)?.mass ?? 1), 12) as number });
    }
  });

  it('RED-20: a line names the scatter that it shares: its own, or that of all voltages of the injector', () => {
    const [own, shared] = (['own', 'shared'] as const).map((slopeOverVoltage) => linesOf(reduced({ ...plan, reduction: { ...plan.reduction, slopeOverVoltage } })));
    expect(new Set((own ?? []).flatMap((c) => c.scatter.slopeParts.map((part) => part.source.key))).size).toBe(12);
    expect(new Set((shared ?? []).flatMap((c) => c.scatter.slopeParts.map((part) => part.source.key))).size).toBe(6);
    for (const cells of [own ?? [], shared ?? []]) expect(new Set(cells.map((c) => c.scatter.meanSource.key)).size).toBe(12);
    expect(new Set((own ?? []).map((c) => c.scatter.scale)).size).toBe(12);
    expect(new Set((shared ?? []).map((c) => c.scatter.scale)).size).toBe(6);
    expect((shared ?? []).every((c) => c.slopeFrom === 'shared')).toBe(true);
  });
});
