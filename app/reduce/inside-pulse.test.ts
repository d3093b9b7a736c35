import { describe, expect, it } from 'vitest';
import { chiSquareBelow } from '../distributions/distributions.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import type { Plan } from '../plan/plan.ts';
import type { Point } from '../plan/points.ts';
import { amperes, kilopascals, milliseconds, pascals, volts } from '../quantities/quantity.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { result } from '../uncertainty/budget.ts';
import { reduceRun } from './reduce.ts';
import type { LineCell, Reduction } from './reduction.ts';
import { beforePulse } from './conditions.ts';
import { supplyLossOf, supplyLossSentence } from './supply-loss.ts';
import { noErrors, noScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from './synthetic.test-helper.ts';

const plan = syntheticPlan({ voltageV: [9, 12, 14], pressureKpa: [300, 400] }, 1, { linearFromMs: 2 }, { static: { replicates: 1, voltageV: 14, periodMs: 20 } });
const points = expandPlan(plan);
const { slope, deadTime } = syntheticInjector(0);
/** Opens alike at every pressure. */
const injector = { slope, deadTime: (v: Parameters<typeof deadTime>[0], _: unknown, warmer?: number) => deadTime(v, kilopascals(400), warmer) };

/** `change`: what the bench does beside; the windows say nothing of it. */
function reduced(equipment: Equipment, change: (point: Point, window: (of: Point) => WindowSummary) => WindowSummary = (point, window) => window(point), by = plan): Reduction {
  const window = (of: Point): WindowSummary => syntheticWindow(of, of.role === 'static' ? { ...injector, deadTime: () => 0 } : injector, plan, syntheticEquipment, noErrors, noScatter, () => 0);
  return reduceRun({ plan: by, equipment, points, attempts: points.map((point) => ({ point: point.index, attempt: 1, window: change(point, window) })) });
}

function cellOf(reduction: Reduction, voltage: number, pressure: number): LineCell {
  const cell = reduction.cells.find((c) => c.voltage === voltage && c.pressure === pressure);
  if (cell?.kind !== 'line') throw new Error('no line');
  return cell;
}

const partOf = (cell: LineCell, quantity: string) => cell.shared.find((s) => s.source.quantity === quantity);

it('RED-160: of a window the supply before a pulse is that of its own pulse and its own record, whichever was asked for before', () => {
  const [point] = points;
  if (point === undefined) throw new Error('no point');
  const window = syntheticWindow(point, injector, plan, syntheticEquipment, noErrors, noScatter, () => 0);
  const sagging = (insidePulseMv: number): Equipment => equipmentSchema.parse({ ...syntheticEquipment, supply: { ...syntheticEquipment.supply, insidePulseMv } });
  const [some, more] = [sagging(20), sagging(60)];
  const meanOf = (equipment: Equipment, change: Partial<Point> = {}): number => beforePulse(window, { ...point, width: milliseconds(5), period: milliseconds(20), ...change }, equipment).supply.mean - window.supply.mean;
  for (let twice = 0; twice < 2; twice += 1) {
    expect(meanOf(some)).toBeCloseTo(0.0025, 12);
    expect(meanOf(some, { width: milliseconds(10) })).toBeCloseTo(0.005, 12);
    expect(meanOf(some, { period: milliseconds(40) })).toBeCloseTo(0.00125, 12);
    expect(meanOf(more)).toBeCloseTo(0.0075, 12);
  }
  expect(beforePulse(window, point, some)).toBe(beforePulse(window, point, some));
});

describe('RED-73: pressure while open', () => {
  const bound = 2;
  const stated = equipmentSchema.parse({ ...syntheticEquipment, pressure: { ...syntheticEquipment.pressure, whileOpenKpa: bound } });

  it('has the part that a rail really makes that dips by what the record states', () => {
    // The injector sees less than the window tells, and less the smaller its part of the period.
    const dips = (point: Point, window: (of: Point) => WindowSummary): WindowSummary => {
      const seen = pascals(point.pressure - bound * 1e3 * (1 - point.width / point.period));
      return { ...window({ ...point, pressure: seen }), pressure: { mean: point.pressure, sd: 0 } };
    };
    // Its own lines tell by their bend that it may dip by all of the bound (RED-178).
    const [plain, dipping, told] = [reduced(syntheticEquipment), reduced(syntheticEquipment, dips), reduced(stated, dips)];
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
      expect(Math.abs(onDeadTime / Math.sqrt(12) - 1), `${voltage} V`).toBeLessThan(0.2);
      expect(Math.abs(onSlope / Math.sqrt(12) - 1), `${voltage} V`).toBeLessThan(0.3);
    }
    expect(partOf(cellOf(plain, 9, 4e5), 'supply-inside-pulse')).toBeUndefined();
  });
});

describe('RED-150: a sag lies to one side', () => {
  it('and is taken off by half of its bound, so that benches that sag by none, half or all of it lie to both sides of the truth and none farther than the part', () => {
    const millivolts = 50;
    const stated = equipmentSchema.parse({ ...syntheticEquipment, supply: { ...syntheticEquipment.supply, insidePulseMv: millivolts } });
    const plain = reduced(syntheticEquipment);
    const sagging = (share: number): Reduction =>
      reduced(stated, (point, window) => {
        if (point.role !== 'measure') return window(point);
        const { deadTime: t0, byVoltage } = cellOf(plain, point.voltage, point.pressure);
        const opening = Math.max(0.5, 1 + t0.value / (point.voltage * byVoltage.value));
        return { ...window({ ...point, voltage: volts(point.voltage - share * millivolts * 1e-3 * (opening - point.width / point.period)) }), supply: { mean: point.voltage, sd: 0 } };
      });
    const [none, half, all] = [sagging(0), sagging(0.5), sagging(1)];
    for (const voltage of [9, 12, 14]) {
      for (const of of ['deadTime', 'slope'] as const) {
        const offBy = (reduction: Reduction): number => cellOf(reduction, voltage, 4e5)[of].value - cellOf(plain, voltage, 4e5)[of].value;
        const part = partOf(cellOf(half, voltage, 4e5), 'supply-inside-pulse');
        const bound = Math.sqrt(3) * ((of === 'deadTime' ? part?.onDeadTime : part?.onSlope) ?? 0);
        expect(offBy(none) / bound, `${of} at ${voltage} V`).toBeCloseTo(-1, 0);
        expect(Math.abs(offBy(half) / bound), `${of} at ${voltage} V`).toBeLessThan(0.2);
        expect(offBy(all) / bound, `${of} at ${voltage} V`).toBeCloseTo(1, 0);
      }
    }
  });
});

describe('RED-143, RED-176: the supply read inside pulses, and an allowance where nothing says what it does there', () => {
  const { name, meter, pressure, temperature, supply, fluid, ambientKpa } = syntheticEquipment;
  const record = (harnessOhm: number): Equipment =>
    equipmentSchema.parse({
      equipmentVersion: 2, name, meter, pressure, temperature, supply, fluid, ambientKpa,
      controller: { model: 'C', serialNumber: 'C-1' },
      wiring: { sensedAt: 'supply', harnessOhm, harnessUncertaintyOhm: 0 },
      driver: { type: 'clamp', clampV: 60, clampUncertaintyV: 0 },
      timeBase: { kind: 'crystal', uncertaintyPpm: 0, refuseAbovePpm: 500 },
    });
  const wired = record(0);
  const loss = 0.1;
  const coil = 12;
  /** Its current, in the mean over a period and inside the pulse, A. */
  const currentOf = ({ voltage, width, period }: Point): { readonly mean: number; readonly inPulse: number } => {
    const mean = ((voltage / coil) * (width - 1e-3)) / period;
    return { mean, inPulse: (mean * period) / width };
  };
  const withCurrent = (window: WindowSummary, point: Point): WindowSummary => (point.role === 'measure' ? { ...window, current: { mean: amperes(currentOf(point).mean), sd: 0 } } : window);
  const readInside = (window: WindowSummary, point: Point, off = 0): WindowSummary => {
    if (point.role !== 'measure') return window;
    const { mean, inPulse } = currentOf(point);
    return { ...withCurrent(window, point), supplyInPulse: { mean: volts(point.voltage - loss * (inPulse - mean) + off), sd: 0 } };
  };
  /** A bench that holds the mean of its read-back, and whose coil has the loss before it as it would have a longer harness. */
  const losing = (equipment: Equipment, off: number | null): Reduction => {
    const plain = reduced(record(0), (point, window) => withCurrent(window(point), point));
    return reduced(equipment, (point, window) => {
      if (point.role !== 'measure') return window(point);
      const { byVoltage, byResistance } = cellOf(plain, point.voltage, point.pressure);
      const raised = loss * currentOf(point).mean;
      // As one more volt opens earlier, the ohm in series opens later.
      const seen = volts(point.voltage + raised + ((byResistance?.value ?? Number.NaN) * loss) / byVoltage.value);
      const made = { ...window({ ...point, voltage: seen }), supply: { mean: point.voltage, sd: 0 } };
      return off === null ? withCurrent(made, point) : readInside(made, point, off);
    });
  };

  describe('RED-176: where nobody says what the supply does inside a pulse', () => {
    const silent = losing(wired, null);
    const stating = (insidePulseMv: number): Equipment => equipmentSchema.parse({ ...wired, supply: { ...supply, insidePulseMv } });
    const allowed = 0.06;

    it('carries at the most what 60 of a loss of 100 mohm would move it by, and is itself not moved', () => {
      const none = losing(stating(0), null);
      const plain = reduced(wired, (point, window) => withCurrent(window(point), point));
      for (const voltage of [9, 12, 14]) {
        const [cell, same, truth] = [silent, none, plain].map((r) => cellOf(r, voltage, 4e5));
        if (cell === undefined || same === undefined || truth === undefined) throw new Error('no line');
        const part = partOf(cell, 'supply-inside-pulse');
        expect([cell.deadTime.value, cell.slope.value]).toEqual([same.deadTime.value, same.slope.value]);
        // The coil has `coil` ohm, which its current tells: at full current all of the allowance is lost.
        const share = (allowed / loss) * (cell.deadTime.value - truth.deadTime.value);
        expect(Math.abs((-Math.sqrt(3) * (part?.onDeadTime ?? 0)) / share - 1), `${voltage} V`).toBeLessThan(0.1);
        const turned = (allowed / loss) * (cell.slope.value - truth.slope.value);
        expect(Math.abs((-Math.sqrt(3) * (part?.onSlope ?? 0)) / turned - 1), `${voltage} V`).toBeLessThan(0.3);
        expect(cell.deadTime.u).toBeCloseTo(Math.hypot(same.deadTime.u, part?.onDeadTime ?? 0), 15);
        expect(cell.deadTime.expanded).toBeGreaterThan(same.deadTime.expanded);
      }
    });

    it('is half as much in a circuit of twice the ohms, for dead time and slope', () => {
      const drawing = (part: number): Reduction =>
        reduced(wired, (point, window) => {
          const made = withCurrent(window(point), point);
          return made.current === undefined ? made : { ...made, current: { mean: amperes(part * made.current.mean), sd: 0 } };
        });
      const [all, half] = [drawing(1), drawing(0.5)];
      for (const of of ['onDeadTime', 'onSlope'] as const) {
        const [more, less] = [all, half].map((reduction) => partOf(cellOf(reduction, 9, 4e5), 'supply-inside-pulse')?.[of] ?? Number.NaN);
        expect((less ?? 0) / (more ?? 0), of).toBeCloseTo(0.5, 2);
      }
    });

    it('goes by what is stated of the coil where windows do not tell the current', () => {
      const unread = (plan: Plan): ReturnType<typeof partOf> => partOf(cellOf(reduced(wired, undefined, plan), 9, 4e5), 'supply-inside-pulse');
      const [usual, stated] = [unread(plan), unread({ ...plan, look: { ...plan.look, coilOhm: 7 } })];
      // As a record says it in millivolts at full current, of which half is taken off: 14 ohm are usual.
      const told = partOf(cellOf(reduced(stating((2e3 * allowed * 9) / 14)), 9, 4e5), 'supply-inside-pulse');
      expect(Math.abs((usual?.onSlope ?? 0) / (told?.onSlope ?? 1) + 1)).toBeLessThan(0.02);
      expect((stated?.onSlope ?? 0) / (usual?.onSlope ?? 1)).toBeCloseTo(2, 2);
      expect((stated?.onDeadTime ?? 0) / (usual?.onDeadTime ?? 1)).toBeCloseTo(2, 2);
    });

    it('adds nothing where the record states 0, where the supply was read inside pulses, and to a record of version 1', () => {
      for (const reduction of [losing(stating(0), null), losing(wired, 0), reduced(syntheticEquipment)]) {
        for (const voltage of [9, 12, 14]) expect(partOf(cellOf(reduction, voltage, 4e5), 'supply-inside-pulse')).toBeUndefined();
      }
      expect(partOf(cellOf(silent, 9, 4e5), 'supply-inside-pulse')).toBeDefined();
    });

    it('is as wide as one-sided errors of it need: an interval that is the same to either side holds one as often as one of errors to both sides', () => {
      const below = (z: number): number => 0.5 + (Math.sign(z) * chiSquareBelow(z * z, 1)) / 2;
      for (const bound of [0.5, 1.5, 3, 8]) {
        const { expanded } = result(0, 0, Number.POSITIVE_INFINITY, Math.hypot(bound / Math.sqrt(3), 1), bound / Math.sqrt(3));
        // All that is left of a budget is normal with a standard uncertainty of 1.
        const inside = Array.from({ length: 1000 }, (_, i) => (bound * (i + 0.5)) / 1000).map((sag) => below(expanded - sag) - below(-expanded - sag));
        expect(inside.reduce((sum, one) => sum + one, 0) / 1000, `a bound of ${bound}`).toBeCloseTo(0.95, 3);
      }
    });
  });

  it('tells the loss, and brings dead time and slope to what they are without one', () => {
    const plain = reduced(wired, (point, window) => withCurrent(window(point), point));
    const [unread, read] = [losing(wired, null), losing(wired, 0)];
    expect(unread.supplyLoss).toBeUndefined();
    expect(read.supplyLoss?.ohm).toBeCloseTo(loss, 9);
    for (const voltage of [9, 12, 14]) {
      const [truth, moved, told] = [plain, unread, read].map((r) => cellOf(r, voltage, 4e5));
      if (truth === undefined || moved === undefined || told === undefined) throw new Error('no line');
      const off = (cell: LineCell): number => Math.abs(cell.deadTime.value - truth.deadTime.value);
      expect(off(moved)).toBeGreaterThan(5e-7);
      expect(off(told), `${voltage} V`).toBeLessThan(off(moved) / 5);
      expect(Math.abs(told.slope.value / truth.slope.value - 1)).toBeLessThan(Math.abs(moved.slope.value / truth.slope.value - 1) / 3);
    }
  });

  it('has the part that a reading makes that is off by its standard uncertainty, in place of the bound', () => {
    const off = supply.uncertaintyMv * 1e-3;
    const [right, wrong] = [losing(wired, 0), losing(wired, off)];
    expect(((right.supplyLoss?.ohm ?? 0) - (wrong.supplyLoss?.ohm ?? 0)) / (right.supplyLoss?.u ?? 1)).toBeCloseTo(1, 2);
    for (const voltage of [9, 12, 14]) {
      const [a, b, part] = [cellOf(right, voltage, 4e5), cellOf(wrong, voltage, 4e5), partOf(cellOf(right, voltage, 4e5), 'supply-loss')];
      for (const ratio of [(a.deadTime.value - b.deadTime.value) / (part?.onDeadTime ?? 0), (a.slope.value - b.slope.value) / (part?.onSlope ?? 0)]) expect(Math.abs(ratio - 1), `${voltage} V`).toBeLessThan(0.2);
    }
    const bounded = equipmentSchema.parse({ ...wired, supply: { ...wired.supply, insidePulseMv: 50 } });
    expect(partOf(cellOf(losing(bounded, 0), 9, 4e5), 'supply-inside-pulse')).toBeUndefined();
    expect(partOf(cellOf(losing(bounded, null), 9, 4e5), 'supply-inside-pulse')).toBeDefined();
  });

  it('scatters as the readings do, and is not told from too few of them, nor with a record that knows no circuit', () => {
    const at = (index: number): Point => ({ ...(points.find((p) => p.role === 'measure') as Point), index, width: milliseconds(3 + index) });
    const noisy = Array.from({ length: 12 }, (_, i) => {
      const point = at(i);
      const window = syntheticWindow(point, injector, plan, syntheticEquipment, noErrors, noScatter, () => 0);
      return { at: point, window: readInside(window, point, i % 2 === 0 ? 0.01 : -0.01) };
    });
    const lossOf = (seen: typeof noisy, equipment: Equipment) => supplyLossOf({ points: seen.map((s) => s.at), attempts: seen.map(({ window }, point) => ({ point, attempt: 1, window })), equipment });
    const told = lossOf(noisy, wired);
    const more = noisy.map(({ at: point }) => currentOf(point).inPulse - currentOf(point).mean);
    const squares = more.reduce((sum, one) => sum + one * one, 0);
    const sum = more.reduce((all, one) => all + one, 0);
    expect(told?.windows).toBe(12);
    expect((told?.u ?? 0) / Math.hypot((0.01 * Math.sqrt(12 / 11)) / Math.sqrt(squares), (5e-3 * sum) / squares)).toBeCloseTo(1, 2);
    expect(lossOf(noisy.slice(0, 4), wired)).toBeNull();
    expect(lossOf(noisy, syntheticEquipment)).toBeNull();
    expect(lossOf(noisy.map(({ at: point, window }) => ({ at: { ...point, width: point.period }, window })), wired)).toBeNull();
    expect(told === null ? '' : supplyLossSentence(told)).toMatch(/^Supply inside pulses, read in 12 windows: .* mohm \(k = 2\) behind the read-back\./);
  });
});
