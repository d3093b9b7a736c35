/** The constants by which dead times are referred, worked out anew from injectors that nobody tuned them to (RED-141). */
import { beforeAll, describe, expect, test } from 'vitest';
import { planSchema } from '../../app/plan/plan.ts';
import { deadTimeByClamp, deadTimeByPressure, deadTimeByResistance, deadTimeByTemperature, deadTimeByVoltage } from '../../app/reduce/sensitivity.ts';
import type { LineCell, Reduction } from '../../app/reduce/reduction.ts';
import { effectsOfResistance } from '../../app/reduce/resistance-effect.ts';
import { mapTables } from '../../app/tables/map.ts';
import { errorSource } from '../../app/uncertainty/source.ts';
import { NOMINAL_INJECTOR } from '../../firmware-protocol/simulator/plant/injector-type.ts';
import { simulatePulse } from '../../firmware-protocol/simulator/plant/injector.ts';
import type { InjectorParts } from '../../firmware-protocol/simulator/plant/injector.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { oddBench } from './imperfect-bench.ts';

const [short, long] = [6e-3, 11e-3];

interface Drive {
  readonly volts: number;
  readonly clamp: number;
  readonly series: number;
  readonly coilC: number;
  readonly pressure: number;
}

/** Crossing of the line through two widths, noise-free, s. */
function deadTime(parts: InjectorParts, { volts, clamp, series, coilC, pressure }: Drive): number {
  const [a, b] = [short, long].map((width) => simulatePulse(parts, { supply: volts, series, clamp }, pressure, coilC, width).areaTime);
  return short - ((a ?? Number.NaN) * (long - short)) / ((b ?? Number.NaN) - (a ?? Number.NaN));
}

/** An injector of another size in every respect. */
function drawn(random: RandomSource): InjectorParts {
  const times = (low: number, high: number): number => low * (high / low) ** random.uniform();
  const of = NOMINAL_INJECTOR;
  return {
    ...of, resistance: times(11.5, 16), turns: of.turns * times(0.85, 1.15), eddy: of.eddy * times(0.4, 2), core: of.core * times(0.7, 1.4), saturationFlux: of.saturationFlux * times(0.8, 1.25),
    mass: of.mass * times(0.6, 1.6), preload: of.preload * times(0.7, 1.3), lift: of.lift * times(0.8, 1.25),
  };
}

interface Case {
  readonly drive: Drive;
  readonly ohm: number;
  readonly deadTime: number;
  readonly by: Readonly<Record<'volts' | 'clamp' | 'series' | 'coilC' | 'pressure', number>>;
}

const cases: Case[] = [];
beforeAll(() => {
  const random = RandomSource.named(1, 'injectors of many sizes');
  for (let i = 0; i < 14; i += 1) {
    const parts = drawn(random);
    const clamp = [36, 40, 47, 54][i % 4] ?? 40;
    for (const volts of [10, 15]) {
      const drive = { volts, clamp, series: 0.05, coilC: 25, pressure: 4e5 };
      const here = deadTime(parts, drive);
      // An injector that hardly opens at a voltage is not measured there: pull-in at 0.8 of it, as the pull-in forms have it.
      const weak = deadTime(parts, { ...drive, volts: 0.8 * volts });
      if (!(weak > here && weak < 3.5e-3)) continue;
      const by = (of: keyof Drive, half: number): number => (deadTime(parts, { ...drive, [of]: drive[of] + half }) - deadTime(parts, { ...drive, [of]: drive[of] - half })) / (2 * half);
      cases.push({ drive, ohm: parts.resistance * (1 + 0.00393 * 5) + 0.05, deadTime: here, by: { volts: by('volts', 0.1), clamp: by('clamp', 0.5), series: by('series', 0.05), coilC: by('coilC', 10), pressure: by('pressure', 1e4) } });
    }
  }
}, 60_000);

/** Root mean square of errors in their standard uncertainties. */
const rms = (of: (one: Case) => { readonly value: number; readonly u: number; readonly truth: number }): number =>
  Math.sqrt(cases.reduce((sum, one) => { const { value, u, truth } = of(one); return sum + ((value - truth) / u) ** 2; }, 0) / cases.length);

/** Told neither better than it is, nor less than half as well. */
function isHonest(z: number): void {
  expect(z).toBeGreaterThan(0.45);
  expect(z).toBeLessThan(1.2);
}

describe('RED-141 RED-18 RED-60 RED-61 constants against injectors of many sizes', () => {
  test('there are injectors of many sizes', () => {
    expect(cases.length).toBeGreaterThan(20);
    expect(Math.max(...cases.map((c) => c.deadTime)) / Math.min(...cases.map((c) => c.deadTime))).toBeGreaterThan(3);
  });

  /** As if its neighbours had told it well: what is asked here is the rest. */
  const voltage = ({ by }: Case) => ({ value: by.volts, u: 0.02 * Math.abs(by.volts), from: 'neighbours' as const });
  const clampOf = ({ drive }: Case) => ({ clampV: drive.clamp, sensitivity: deadTimeByClamp(drive.volts, drive.clamp) });

  test('decay into the clamp', () => isHonest(rms((c) => ({ ...deadTimeByClamp(c.drive.volts, c.drive.clamp), truth: c.by.clamp }))));
  test('temperature of the coil, with the clamp known', () => isHonest(rms((c) => ({ ...deadTimeByTemperature(voltage(c), c.drive.volts, c.deadTime, clampOf(c)), truth: c.by.coilC }))));
  test('temperature of the coil, with the clamp not known', () => isHonest(rms((c) => ({ ...deadTimeByTemperature(voltage(c), c.drive.volts, c.deadTime), truth: c.by.coilC }))));
  test('resistance in series', () =>
    isHonest(rms((c) => ({ ...deadTimeByResistance(voltage(c), c.drive.volts, c.deadTime, clampOf(c), { ohm: c.ohm, uRelative: 0.01, from: 'current' }), truth: c.by.series }))));
  test('usual effect of the supply', () => isHonest(rms((c) => ({ ...deadTimeByVoltage([], c.drive.volts, c.deadTime), truth: c.by.volts }))));
  test('usual effect of the pressure', () => isHonest(rms((c) => ({ ...deadTimeByPressure([], c.drive.pressure, c.deadTime), truth: c.by.pressure }))));
});

describe('RED-170 RED-179 resistance of the circuit, told by dead times at several voltages', () => {
  const series = 0.077;
  const grid = [9, 10.5, 12, 14, 16];
  /** Errors in standard uncertainties at each place of the grid. */
  type Errors = readonly (readonly number[])[];
  const rootMeanSquare = (all: readonly number[]): number => Math.sqrt(all.reduce((sum, z) => sum + z * z, 0) / all.length);
  /** At every voltage told neither better than it is, nor less than a third as well. */
  const areHonest = (errors: Errors, least = 0.33): void => {
    errors[0]?.forEach((_, i) => {
      const z = rootMeanSquare(errors.map((one) => one[i] ?? Number.NaN));
      expect(z, `place ${i}`).toBeLessThan(1.25);
      expect(z, `place ${i}`).toBeGreaterThan(least);
    });
  };

  test('of injectors of many sizes', () => {
    const random = RandomSource.named(3, 'injectors of many sizes');
    const errors: number[][] = [];
    for (let i = 0; errors.length < 16; i += 1) {
      const parts = drawn(random);
      const clamp = [36, 40, 47, 54][i % 4] ?? 40;
      const at = (volts: number, more = 0): number => deadTime(parts, { volts, clamp, series: series + more, coilC: 25, pressure: 4e5 });
      const known = grid.map((volts) => ({ at: volts, deadTime: at(volts), u: 1e-6 }));
      // As above: what hardly opens at the lowest voltage is not measured there.
      const weak = at(0.8 * 9);
      if (!(weak > (known[0]?.deadTime ?? 0) && weak < 3.5e-3)) continue;
      const ohm = parts.resistance * (1 + 0.00393 * 5) + series;
      const told = effectsOfResistance(clamp)(known);
      errors.push(grid.map((volts, j) => ((told[j]?.value ?? Number.NaN) - (ohm * (at(volts, 0.05) - at(volts, -0.05))) / 0.1) / (told[j]?.u ?? Number.NaN)));
    }
    areHonest(errors);
  }, 60_000);

  test.each([{ slow: false }, { slow: true }])('of injectors of another hand, whose needles shut about as slowly as they open: $slow', ({ slow }) => {
    const plan = planSchema.parse({
      planVersion: 1, name: 'x', injectors: [{ serialNumber: 'I-1', type: 'T', channel: 1 }],
      axes: { voltageV: [9], pressureKpa: [400], widthMs: [4, 6, 9, 12], periodMs: [20], replicates: 1 },
    });
    const widths = [4, 6, 9, 12].map((ms) => ms / 1e3);
    const byAll: number[][] = [];
    const usual: number[] = [];
    for (let seed = 1; seed <= 40; seed += 1) {
      const [bench, warmer] = [0, 1].map((kelvin) => oddBench(seed, slow ? { slowClosing: true } : {}, { ...plan, reduction: { ...plan.reduction, referenceC: plan.reduction.referenceC + kelvin } }, []));
      if (bench === undefined || warmer === undefined) throw new Error('no bench');
      const at = (volts: number, more = 0, of = bench): number => of.truthAt(1, volts, 4e5, widths, 20e-3, series + more).deadTime;
      const byOhm = (volts: number): number => (at(volts, 0.05) - at(volts, -0.05)) / 0.1;
      // A kelvin makes the coil larger by 0.393 %: so its resistance is told, with what stands before it.
      const ohm = (at(12, 0, warmer) - at(12)) / 0.00393 / byOhm(12) + series;
      const known = grid.map((volts) => ({ at: volts, deadTime: at(volts), u: 1e-6 }));
      const told = effectsOfResistance(47)(known);
      byAll.push(grid.map((volts, j) => ((told[j]?.value ?? Number.NaN) - ohm * byOhm(volts)) / (told[j]?.u ?? Number.NaN)));
      const clamp = { clampV: 47, sensitivity: deadTimeByClamp(12, 47) };
      const alone = deadTimeByResistance(deadTimeByVoltage(known, 12, at(12)), 12, at(12), clamp, { ohm: 1, uRelative: 0, from: 'current' });
      usual.push((alone.value - ohm * byOhm(12)) / alone.u);
    }
    areHonest(byAll);
    // With the usual movements alone those that shut slowly would be missed.
    if (slow) expect(rootMeanSquare(usual)).toBeGreaterThan(1.4);
  }, 60_000);
});

describe('RED-141 effect of the supply on a bench of another hand', () => {
  const plan = planSchema.parse({
    planVersion: 1, name: 'x', injectors: [{ serialNumber: 'I-1', type: 'T', channel: 1 }],
    axes: { voltageV: [9], pressureKpa: [400], widthMs: [4, 6, 9, 12], periodMs: [20], replicates: 1 },
  });
  const widths = [4, 6, 9, 12].map((ms) => ms / 1e3);
  /** Errors in standard uncertainties, of forty benches. */
  const errors = (grid: readonly number[], told: typeof deadTimeByVoltage): readonly number[] =>
    Array.from({ length: 40 }, (_, seed) => oddBench(seed + 1, {}, plan, [])).flatMap((bench) => {
      const at = (volts: number): number => bench.truthAt(1, volts, 4e5, widths, 20e-3).deadTime;
      return grid.map((volts) => {
        const { value, u } = told(grid.map((v) => ({ at: v, deadTime: at(v) })), volts, at(volts));
        return (value - (at(volts + 0.02) - at(volts - 0.02)) / 0.04) / u;
      });
    });

  test.each([[[9, 10.5, 12, 14, 16]], [[8.5, 12, 16]], [[9, 16]], [[12, 14]]])('told from neighbours at %j V', (grid) => {
    const z = errors(grid, deadTimeByVoltage);
    const all = Math.sqrt(z.reduce((sum, one) => sum + one * one, 0) / z.length);
    expect(all).toBeGreaterThan(0.25);
    expect(all).toBeLessThan(1.2);
  });
});

describe('RED-96 RED-102 RED-177 maps between measured voltages and pressures', () => {
  /** A line of which nothing but the dead time matters, known to a nanosecond. */
  const lineOf = (voltage: number, pressure: number, deadTime: number): Reduction['cells'][number] => {
    const known = { value: deadTime, u: 1e-9, uRandom: 1e-9, uShared: 0, dofRandom: 100, effectiveDof: 100, coverageFactor: 2, expanded: 2e-9 };
    const scatter = { slopeParts: [], meanSource: errorSource('width-mass', `${voltage} ${pressure}`), uMean: 1e-9, dof: 100, scale: 'a', distance: 0 };
    return { kind: 'line', injector: 0, serialNumber: 'I-1', voltage, pressure, period: 20e-3, deadTime: known, slope: { ...known, value: 1 }, scatter, shared: [] } as unknown as LineCell;
  };
  type DeadTimes = (volts: number, pressure: number) => number;
  /** Errors in standard uncertainties at each asked place, of each injector. */
  const errorsOf = (all: readonly DeadTimes[], grid: { readonly voltages: readonly number[]; readonly pressures: readonly number[] }, asked: { readonly voltages: readonly number[]; readonly pressures: readonly number[] }): readonly (readonly number[])[] =>
    all.map((of) => {
      const cells = grid.voltages.flatMap((v) => grid.pressures.map((p) => lineOf(v, p, of(v, p))));
      const [table] = mapTables({ cells }, 'dead-time', asked);
      return asked.voltages.flatMap((v, i) => asked.pressures.map((p, j) => {
        const cell = table?.cells[i]?.[j];
        if (cell?.kind !== 'value') throw new Error(cell?.text);
        return (cell.result.value - of(v, p)) / cell.result.u;
      }));
    });
  const rootMeanSquare = (all: readonly number[]): number => Math.sqrt(all.reduce((sum, z) => sum + z * z, 0) / all.length);

  /** Injectors whose springs are weak and whose seats are wide among them: the fluid has from a twentieth to half of the force that holds the needle at 400 kPa. */
  const lumped = (count: number, lowest: number, highest: number): readonly DeadTimes[] => {
    const random = RandomSource.named(9, 'injectors of all sizes');
    const times = (low: number, high: number): number => low * (high / low) ** random.uniform();
    const found: DeadTimes[] = [];
    for (let i = 0; found.length < count; i += 1) {
      const usual = NOMINAL_INJECTOR;
      const parts = {
        ...usual, resistance: times(11.5, 16), turns: usual.turns * times(0.75, 1.3), eddy: usual.eddy * times(0.3, 3), core: usual.core * times(0.5, 2), saturationFlux: usual.saturationFlux * times(0.65, 1.6),
        pole: usual.pole * times(0.8, 1.3), residualGap: usual.residualGap * times(0.6, 1.6), mass: usual.mass * times(0.5, 2), preload: usual.preload * times(0.4, 1.6), spring: usual.spring * times(0.4, 2.5),
        damping: usual.damping * times(0.3, 3), lift: usual.lift * times(0.7, 1.4), seatDiameter: usual.seatDiameter * times(0.6, 2),
      };
      const clamp = [36, 40, 47, 54][i % 4] ?? 40;
      const of: DeadTimes = (volts, pressure) => deadTime(parts, { volts, clamp, series: 0.05, coilC: 25, pressure });
      const weak = of(0.8 * lowest, highest);
      if (weak > of(lowest, highest) && weak < 3.5e-3) found.push(of);
    }
    return found;
  };
  const otherHand = (count: number): readonly DeadTimes[] => {
    const plan = planSchema.parse({
      planVersion: 1, name: 'x', injectors: [{ serialNumber: 'I-1', type: 'T', channel: 1 }],
      axes: { voltageV: [9], pressureKpa: [400], widthMs: [4, 6, 9, 12], periodMs: [20], replicates: 1 },
    });
    return Array.from({ length: count }, (_, i) => oddBench(i + 1, {}, plan, [])).map((bench) => (volts, pressure) => bench.truthAt(1, volts, pressure, [4e-3, 6e-3, 9e-3, 12e-3], 20e-3).deadTime);
  };

  test.each([{ pressures: [3e5, 4.5e5], between: 3.75e5 }, { pressures: [2e5, 4e5], between: 3e5 }, { pressures: [3e5, 6e5], between: 4.2e5 }])('between two pressures: $pressures', ({ pressures, between }) => {
    const voltages = [9, 10.5, 12, 14, 16];
    const of = (all: readonly DeadTimes[]): readonly (readonly number[])[] => errorsOf(all, { voltages, pressures }, { voltages, pressures: [between] });
    const ofLumped = of(lumped(60, voltages[0] ?? 0, pressures[1] ?? 0));
    voltages.forEach((v, i) => expect(rootMeanSquare(ofLumped.map((one) => one[i] ?? Number.NaN)), `${v} V`).toBeLessThan(1.2));
    expect(rootMeanSquare(ofLumped.flat())).toBeGreaterThan(0.25);
    expect(Math.max(...ofLumped.flat().map(Math.abs))).toBeLessThan(4);
    const other = rootMeanSquare(of(otherHand(40)).flat());
    expect(other).toBeGreaterThan(0.1);
    expect(other).toBeLessThan(1.2);
  }, 60_000);

  test.each([[[9, 10.5, 12, 14, 16]], [[8, 9.7, 11.2, 13, 16]], [[9, 12, 14, 16]], [[8.5, 10.5, 13, 16]]])('between voltages, from %j V', (voltages) => {
    const asked = voltages.slice(1).map((v, i) => (v + (voltages[i] ?? v)) / 2);
    for (const all of [lumped(60, voltages[0] ?? 0, 4e5), otherHand(40)]) {
      const errors = errorsOf(all, { voltages, pressures: [4e5] }, { voltages: asked, pressures: [4e5] });
      asked.forEach((v, i) => expect(rootMeanSquare(errors.map((one) => one[i] ?? Number.NaN)), `${v} V`).toBeLessThan(1.25));
      // Near the ends the curve is told worst, and that is said.
      expect(rootMeanSquare(errors.map((one) => one[0] ?? Number.NaN))).toBeGreaterThan(0.3);
    }
  }, 60_000);
});

describe('RED-174 the curve of short pulses where needles bounce', () => {
  /** What a pulse passes off its line, relative to it, and how much steeper than the line the curve is there, relative to it, over the 10 us that windows are referred by. */
  const places: { readonly off: number; readonly steeper: number }[] = [];
  beforeAll(() => {
    const random = RandomSource.named(5, 'needles that bounce');
    for (let i = 0; i < 14; i += 1) {
      const parts = drawn(random);
      for (const volts of [9, 12, 15]) {
        const areaOf = (width: number): number => simulatePulse(parts, { supply: volts, series: 0.077, clamp: 47 }, 4e5, 25, width).areaTime;
        const slope = (areaOf(long) - areaOf(short)) / (long - short);
        const begins = short - areaOf(short) / slope;
        if (!(begins > 0 && begins < 3e-3)) continue;
        for (let open = 0.1e-3; open < 1.5e-3; open += 37e-6) {
          const [area, after] = [areaOf(begins + open), areaOf(begins + open + 10e-6)];
          places.push({ off: area / (slope * open) - 1, steeper: (after - area) / 10e-6 / slope - 1 });
        }
      }
    }
  }, 60_000);
  const steeperWhere = (from: number, to: number): readonly number[] => {
    const here = places.filter(({ off }) => Math.abs(off) >= from && Math.abs(off) < to).map(({ steeper }) => Math.abs(steeper));
    expect(here.length).toBeGreaterThan(40);
    return here.sort((a, b) => a - b);
  };

  test('is steeper or flatter than the line by about as much as is stated where pulses pass far more than 4 % off it', () => {
    const here = steeperWhere(0.08, 0.4);
    const rms = Math.sqrt(here.reduce((sum, one) => sum + one * one, 0) / here.length);
    expect(rms / 1.6).toBeGreaterThan(0.6);
    expect(rms / 1.6).toBeLessThan(1.2);
  });

  test('and by next to nothing where far less, but for the few places where it crosses its line between two bounces', () => {
    const here = steeperWhere(0, 0.01);
    expect(here[Math.floor(0.8 * here.length)]).toBeLessThan(0.1);
  });
});
