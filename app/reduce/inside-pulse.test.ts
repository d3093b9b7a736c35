import { describe, expect, it } from 'vitest';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals, pascals, volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { reduceRun } from './reduce.ts';
import type { LineCell, Reduction } from './reduction.ts';
import { noErrors, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const plan = syntheticPlan({ voltageV: [9, 12, 14], pressureKpa: [300, 400] }, 1, { linearFromMs: 2 }, { static: { replicates: 1, voltageV: 14, periodMs: 20 } });
const points = expandPlan(plan);
const { slope, deadTime } = syntheticInjector(0);
/** Opens alike at every pressure. */
const injector = { slope, deadTime: (v: Parameters<typeof deadTime>[0], _: unknown, warmer?: number) => deadTime(v, kilopascals(400), warmer) };

/** `change`: what the bench does beside; the windows say nothing of it. */
function reduced(equipment: Equipment, change: (point: Point, window: (of: Point) => WindowSummary) => WindowSummary = (point, window) => window(point)): Reduction {
  const window = (of: Point): WindowSummary => syntheticWindow(of, of.role === 'static' ? { ...injector, deadTime: () => 0 } : injector, plan, syntheticEquipment, noErrors, noScatter, () => 0);
  return reduceRun({ plan, equipment, points, attempts: points.map((point) => ({ point: point.index, attempt: 1, window: change(point, window) })) });
}

function cellOf(reduction: Reduction, voltage: number, pressure: number): LineCell {
  const cell = reduction.cells.find((c) => c.voltage === voltage && c.pressure === pressure);
  if (cell?.kind !== 'line') throw new Error('no line');
  return cell;
}

const partOf = (cell: LineCell, quantity: string) => cell.shared.find((s) => s.source.quantity === quantity);

describe('RED-73: pressure while open', () => {
  const bound = 2;
  const stated = equipmentSchema.parse({ ...syntheticEquipment, pressure: { ...syntheticEquipment.pressure, whileOpenKpa: bound } });

  it('has the part that a rail really makes that dips by what the record states', () => {
    const [plain, told] = [reduced(syntheticEquipment), reduced(stated)];
    // The injector sees less than the window tells, and less the smaller its part of the period.
    const dipping = reduced(syntheticEquipment, (point, window) => {
      const seen = pascals(point.pressure - bound * 1e3 * (1 - point.width / point.period));
      return { ...window({ ...point, pressure: seen }), pressure: { mean: point.pressure, sd: 0 } };
    });
    for (const voltage of [9, 12, 14]) {
      const [truth, moved, part] = [cellOf(plain, voltage, 4e5), cellOf(dipping, voltage, 4e5), partOf(cellOf(told, voltage, 4e5), 'pressure-while-open')];
      const ratio = (moved.deadTime.value - truth.deadTime.value) / (Math.sqrt(3) * (part?.onDeadTime ?? 0));
      expect(Math.abs(ratio - 1)).toBeLessThan(0.2);
      expect((moved.slope.value - truth.slope.value) / (Math.sqrt(3) * (part?.onSlope ?? 0))).toBeCloseTo(1, 1);
      expect(part?.onDeadTime).not.toBe(0);
    }
    expect(partOf(cellOf(plain, 14, 4e5), 'pressure-while-open')).toBeUndefined();
  });

  it('leaves the static flow alone, where nothing shuts, and so parts it from the slope', () => {
    const told = reduced(stated);
    const [flow] = told.staticFlows;
    if (flow?.kind !== 'static-flow') throw new Error('no static flow');
    expect(flow.shared.find((s) => s.source.quantity === 'pressure-while-open')?.effect ?? 0).toBe(0);
    expect(cellOf(told, 14, 3e5).staticToSlope?.uShared).toBeGreaterThan(2 * (cellOf(reduced(syntheticEquipment), 14, 3e5).staticToSlope?.uShared ?? 1));
  });

  it('is told by the compliance of the rail where the record states nothing nearer, and covers every time constant', () => {
    const compliance = 5;
    const rail = equipmentSchema.parse({ ...syntheticEquipment, rail: { complianceMlPerMpa: compliance, complianceUncertaintyPercent: 3, volumeMl: 50 } });
    for (const { at, outcome } of reduced(rail).windows) {
      if (outcome.kind !== 'mass' || at.role !== 'measure') continue;
      const term = outcome.budget.find((t) => t.source.quantity === 'pressure-while-open');
      const bound = Math.sqrt(3) * (term?.standardUncertainty ?? 0);
      const volume = outcome.measured / outcome.meterDensity;
      const most = Math.max(...Array.from({ length: 200 }, (_, i) => dip(at.width, at.period, volume / (compliance * 1e-12), 1e-4 * 10 ** (i / 40))));
      expect(bound / most).toBeGreaterThan(1);
      expect(bound / most).toBeLessThan(2);
    }
  });
});

/**
 * A rail that a resistance fills, mean while open of what is missing in it less the mean of the period, once periods repeat. `falls`: what a
 * pulse would lower a rail that nothing fills. Missing pressure nears `level` while open and nothing while shut, both with `tau`; over a
 * period it averages to what flows out.
 */
function dip(open: number, period: number, falls: number, tau: number): number {
  const level = (falls / open) * tau;
  const [inOpen, inPeriod] = [-Math.expm1(-open / tau), -Math.expm1(-period / tau)];
  const whenItOpens = (level * inOpen * Math.exp(-(period - open) / tau)) / inPeriod;
  return level - (level - whenItOpens) * (tau / open) * inOpen - (level * open) / period;
}

describe('RED-74: supply inside the pulse', () => {
  it('moves dead time and slope together as a bench does whose mean read-back is held', () => {
    const millivolts = 50;
    const stated = equipmentSchema.parse({ ...syntheticEquipment, supply: { ...syntheticEquipment.supply, insidePulseMv: millivolts } });
    const [plain, told] = [reduced(syntheticEquipment), reduced(stated)];
    const sagging = reduced(syntheticEquipment, (point, window) => {
      if (point.role !== 'measure') return window(point);
      const { deadTime: t0, byVoltage } = cellOf(plain, point.voltage, point.pressure);
      // While the needle opens the coil draws a part of its current, and the mean was made up for.
      const opening = Math.max(0.5, 1 + t0.value / (point.voltage * byVoltage.value));
      const seen = volts(point.voltage - millivolts * 1e-3 * (opening - point.width / point.period));
      return { ...window({ ...point, voltage: seen }), supply: { mean: point.voltage, sd: 0 } };
    });
    for (const voltage of [9, 12, 14]) {
      const [truth, moved, part] = [cellOf(plain, voltage, 4e5), cellOf(sagging, voltage, 4e5), partOf(cellOf(told, voltage, 4e5), 'supply-inside-pulse')];
      const [onDeadTime, onSlope] = [(moved.deadTime.value - truth.deadTime.value) / (part?.onDeadTime ?? 0), (moved.slope.value - truth.slope.value) / (part?.onSlope ?? 0)];
      expect(Math.abs(onDeadTime / Math.sqrt(3) - 1), `${voltage} V`).toBeLessThan(0.2);
      expect(Math.abs(onSlope / Math.sqrt(3) - 1), `${voltage} V`).toBeLessThan(0.3);
    }
    expect(partOf(cellOf(plain, 9, 4e5), 'supply-inside-pulse')).toBeUndefined();
  });
});
