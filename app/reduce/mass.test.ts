/** Mass per pulse of one window and its budget: every number worked out a second time, by hand or by changing an input a little. */
import { describe, expect, it } from 'vitest';
import type { Equipment } from '../equipment/equipment.ts';
import { densityOfHeptane } from '../fluid/heptane.test-helper.ts';
import type { WindowSummary } from '../journal/measured.ts';
import { celsius, kilopascals, milliseconds, pascals, seconds, volts } from '../quantities/quantity.ts';
import { labelOf } from '../uncertainty/source.ts';
import { budgetTable, dofOfRandom } from './budget-table.ts';
import type { LeakBlock } from './leak-block.ts';
import { massPerPulse } from './mass.ts';
import type { MassPerPulse } from './mass.ts';
import { countedWindow, syntheticEquipment, syntheticPlan } from './synthetic.test-helper.ts';

const point = { role: 'measure', injector: 2, pressure: kilopascals(400), width: milliseconds(5), period: milliseconds(20) } as const;
const { reduction } = syntheticPlan({});
const window: WindowSummary = { ...countedWindow, partRates: [40.1, 39.9, 40.06, 39.94] };
const curve = [{ hertz: 1, edgesPerLitre: 47_800 }, { hertz: 10, edgesPerLitre: 47_950 }, { hertz: 100, edgesPerLitre: 48_000 }];
const meter = { ...syntheticEquipment.meter, kFactor: curve };
/** Each point of the curve with an uncertainty of its own, and each other than its neighbour. */
const pointwise: Equipment = { ...syntheticEquipment, meter: { ...meter, kFactor: curve.map((k, i) => ({ ...k, ownUncertaintyPercent: 0.1 + 0.1 * i })) } };
/** A leak of about a twentieth of what the meter counts. */
const leak: LeakBlock = {
  block: 3, pressure: 4e5, voltage: 14, flow: 4e-8, uFlow: 1e-9, change: -6e-9, uChange: 8e-9, uMeter: 5e-10, below: null, zeroPoints: [], idle: { edges: 0, time: 0 }, sources: [],
};

type Change = Partial<WindowSummary>;
const outcomeOf = (change: Change = {}, equipment: Equipment = pointwise, looked: LeakBlock | null = leak, at: typeof point | (Omit<typeof point, 'period'> & { readonly period: ReturnType<typeof seconds> }) = point) =>
  massPerPulse(at, { ...window, ...change }, equipment, reduction, looked);
function massOf(...of: Parameters<typeof outcomeOf>): MassPerPulse {
  const outcome = outcomeOf(...of);
  if (outcome.kind !== 'mass') throw new Error(outcome.text);
  return outcome;
}
/** Worked out in each test anew: a changed product must be seen by each. */
const termOf = (name: string, mass = massOf()) => {
  const found = mass.budget.find((t) => labelOf(t.source) === name);
  if (found === undefined) throw new Error(`no ${name}`);
  return found;
};

describe('RED-95 what is left of a turn', () => {
  /** Mean square error of n edges that begin anywhere in a turn of N, of a local error of sin over the turn, against that of a point: summed up in small steps. */
  const bySum = (edges: number, perTurn: number): number => {
    const steps = 720;
    let squares = 0;
    for (let i = 0; i < steps; i += 1) {
      let sum = 0;
      for (let j = 0; j < 400; j += 1) sum += Math.sin(2 * Math.PI * (i / steps + ((j + 0.5) / 400) * (edges / perTurn)));
      squares += (sum / 400) ** 2;
    }
    return (2 * squares) / steps;
  };

  it('is that of an error which swings once in it, nothing of whole turns, and not worth a word of more than ten', () => {
    for (const edges of [1, 7, 15, 25, 36, 100, 231]) expect(massOf({ edges }, pointwise, null).partTurn, `${edges} edges`).toBeCloseTo(bySum(edges, 24), 4);
    for (const edges of [24, 48, 240, 241, 1000]) expect(massOf({ edges }, pointwise, null).partTurn, `${edges} edges`).toBe(0);
    expect(bySum(241, 24)).toBeLessThan(0.03 ** 2);
  });
});

describe('RED-98 the terms that windows share', () => {
  it('are those of the window that is asked, whatever was asked before, and none of the one before it', () => {
    const [leaking, tight] = [massOf(), massOf({ edges: 41 }, syntheticEquipment, null)];
    const listed = (of: MassPerPulse) => {
      const { count, sources, sensitivities, uncertainties, values, units } = of.sharedTerms();
      return Array.from({ length: count }, (_, i) => ({ source: sources[i], sensitivity: sensitivities[i], standardUncertainty: uncertainties[i], value: values[i], unit: units[i] }));
    };
    const shared = (of: MassPerPulse) => of.budget.flatMap(({ source, sensitivity, standardUncertainty, value, unit, kind }) => (kind === 'shared' ? [{ source, sensitivity, standardUncertainty, value, unit }] : []));
    const [first, second] = [listed(leaking), listed(tight)];
    expect(second.length).toBeLessThan(first.length);
    expect(second.every(({ source }) => source?.quantity.startsWith('leak') === false)).toBe(true);
    expect([listed(leaking), listed(tight), listed(leaking)]).toEqual([first, second, first]);
    expect([shared(leaking), shared(tight)]).toEqual([first, second]);
  });

  it('and a budget that was asked for stays what it was', () => {
    const [leaking, tight] = [massOf(), massOf({ edges: 41 }, syntheticEquipment, null)];
    const [budget, before] = [leaking.budget, structuredClone(leaking.budget)];
    expect(tight.budget.length).toBeLessThan(budget.length);
    expect(budget).toEqual(before);
  });
});

describe('RED-4, RED-43 mass per pulse', () => {
  it('is the density in the meter times what passed it less the leak, by two square roots', () => {
    const base = massOf();
    const rho = (t: number, kPa: number): number => densityOfHeptane(celsius(t), kilopascals(kPa + 101.325));
    const k = 47_950e3 + (50e3 * 30) / 90;
    const flow = 40 / k - leak.flow;
    const expected = rho(30, 396) * flow * 0.02 * Math.sqrt(400 / 396) * Math.sqrt(rho(20, 400) / rho(25, 396));
    expect(base.mass / expected).toBeCloseTo(1, 12);
    expect(base.leaked / (rho(30, 396) * leak.flow * 0.02)).toBeCloseTo(1, 12);
    expect(base.measured / ((rho(30, 396) * 40 * 0.02) / k)).toBeCloseTo(1, 12);
    expect(base.meterHertz).toBe(40);
    expect(base.kFactorPerCubicMetre / k).toBeCloseTo(1, 12);
    expect(base.meterDensity).toBe(rho(30, 396));
    expect(massOf({}, pointwise, null)).toMatchObject({ leaked: 0, mass: (base.measured * base.pressureFactor) * base.temperatureFactor });
  });

  it('RED-160: is worked out anew for another record, though the window is the same', () => {
    const other = { ...pointwise, ambientKpa: 60, fluid: { ...pointwise.fluid, measuredDensity: { kgPerM3: 700, atC: 20 } } } as Equipment;
    const densityOf = (equipment: Equipment): unknown => {
      const outcome = massPerPulse(point, window, equipment, reduction, null);
      return outcome.kind === 'mass' ? outcome.meterDensity : outcome.text;
    };
    const [first, second] = [densityOf(pointwise), densityOf(other)];
    expect(second).not.toBe(first);
    expect(densityOf(pointwise)).toBe(first);
    expect(massPerPulse(point, { ...window }, other, reduction, null)).toMatchObject({ meterDensity: second });
  });

  it('RED-29: needs two edges that are some time apart, a pressure above the room, a supply and pulses', () => {
    const reasonOf = (...of: Parameters<typeof outcomeOf>): string => {
      const outcome = outcomeOf(...of);
      return outcome.kind === 'mass' ? 'mass' : outcome.reason;
    };
    expect(reasonOf({ edges: 1 }, pointwise, null)).toBe('mass');
    expect(reasonOf({ edges: 0.5 }, pointwise, null)).toBe('too-few-edges');
    expect(reasonOf({ lastEdgeAt: seconds(0.1) })).toBe('too-few-edges');
    expect(reasonOf({ lastEdgeAt: seconds(0.05) })).toBe('too-few-edges');
    expect(reasonOf({ pressure: { mean: kilopascals(0), sd: 0 } })).toBe('no-pressure');
    expect(reasonOf({ supply: { mean: volts(0), sd: 0 } })).toBe('no-supply');
    expect(reasonOf({}, pointwise, leak, { ...point, period: seconds(0) })).toBe('not-driven');
    for (const signal of ['railTemperature', 'meterTemperature'] as const) {
      expect(reasonOf({ [signal]: { mean: celsius(Number.NaN), sd: 0 } })).toBe('not-a-number');
      expect(reasonOf({ [signal]: { mean: celsius(90), sd: 0 } })).toBe('outside-fluid-range');
    }
    expect(reasonOf({ edges: Number.POSITIVE_INFINITY })).toBe('not-a-number');
    expect(reasonOf({ lastEdgeAt: seconds(Number.POSITIVE_INFINITY) })).toBe('not-a-number');
    expect(reasonOf({ supply: { mean: volts(Number.POSITIVE_INFINITY), sd: 0 } })).toBe('not-a-number');
    expect(reasonOf({ partRates: [1, Number.NaN] })).toBe('not-a-number');
  });

  it('is refused where the reference temperature lies outside the range of the density', () => {
    expect(massPerPulse(point, window, pointwise, { ...reduction, referenceC: 80 }, null)).toMatchObject({ reason: 'outside-fluid-range' });
    expect(massPerPulse(point, window, pointwise, { ...reduction, referenceC: 30 }, null)).toMatchObject({ kind: 'mass', temperatureFactor: Math.sqrt(densityOfHeptane(celsius(30), kilopascals(501.325)) / densityOfHeptane(celsius(25), kilopascals(497.325))) });
  });

  it('is refused where all that passed is leak, and where just as much', () => {
    // One edge a second and 1e6 edges/m3, so that both sides are whole multiples of one number.
    const equipment = { ...syntheticEquipment, meter: { ...meter, kFactor: [{ hertz: 1, edgesPerLitre: 1024 / 1e3 }] } };
    const even = { edges: 4, firstEdgeAt: seconds(1), lastEdgeAt: seconds(5) };
    const of = (flow: number): string => massPerPulse(point, { ...window, ...even }, equipment, reduction, { ...leak, flow }).kind;
    expect(of(0.999 / 1024)).toBe('mass');
    expect(of(1 / 1024)).toBe('no-mass');
    expect(of(1.001 / 1024)).toBe('no-mass');
  });
});

describe('RED-5, RED-43, RED-44 budget of a mass', () => {
  it('has for each input the sensitivity that a small change of it shows', () => {
    const base = massOf();
    const by = (other: MassPerPulse, change: number): number => (other.mass / base.mass - 1) / change;
    const wrongAt = (index: number, relative: number) => ({ ...pointwise, meter: { ...meter, kFactor: pointwise.meter.kFactor.map((k, i) => (i === index ? { ...k, edgesPerLitre: k.edgesPerLitre * (1 + relative) } : k)) } });
    const h = 1e-5;
    const changes: readonly (readonly [string, MassPerPulse, number])[] = [
      ['edge timing', massOf({ lastEdgeAt: seconds(2.6 + 1e-5) }, { ...pointwise, meter: { ...meter, kFactor: [{ hertz: 1, edgesPerLitre: base.kFactorPerCubicMetre / 1e3 }] } }), 1e-5],
      ['meter K-factor at 10 Hz', massOf({}, wrongAt(1, h)), 47_950e3 * h],
      ['meter K-factor at 100 Hz', massOf({}, wrongAt(2, h)), 48_000e3 * h],
      ['rail pressure', massOf({ pressure: { mean: pascals(396_010), sd: 0 } }), 10],
      ['meter temperature', massOf({ meterTemperature: { mean: celsius(30.01), sd: 0 } }), 0.01],
      ['rail temperature', massOf({ railTemperature: { mean: celsius(25.01), sd: 0 } }), 0.01],
      ['leak in block 4', massOf({}, pointwise, { ...leak, flow: leak.flow + 1e-12 }), 1e-12],
      ['leak change in block 4, injector 3', massOf({}, pointwise, { ...leak, flow: leak.flow + 1e-12 }), 1e-12],
      ['slip of the meter at the flow of the leak', massOf({}, pointwise, { ...leak, flow: leak.flow + 1e-12 }), 1e-12],
    ];
    for (const [name, other, change] of changes) expect(termOf(name).sensitivity / by(other, change), name).toBeCloseTo(1, 3);
    // What the whole curve shares is in the leak too, whose K-factor has the same error: that of the mass is whole.
    expect(termOf('meter K-factor').sensitivity).toBe(-1 / base.kFactorPerCubicMetre);
    expect(termOf('fluid density').sensitivity).toBe(1 / base.meterDensity);
    const gross = base.measured / (base.measured - base.leaked);
    expect(gross).toBeGreaterThan(1.04);
    expect(termOf('steadiness and meter in-rotation').sensitivity).toBeCloseTo(gross / 40, 12);
    // Through its own seat nothing leaks for a quarter of the period.
    expect(termOf('leak path of injector 3').sensitivity / termOf('leak in block 4').sensitivity).toBeCloseTo(0.25, 12);
  });

  it('has the standard uncertainties of the record, of the window and of the leak', () => {
    const base = massOf();
    const u = (name: string): number => termOf(name).standardUncertainty;
    expect(u('edge timing')).toBeCloseTo(1e-6 / Math.sqrt(6), 15);
    expect(u('meter K-factor') / base.kFactorPerCubicMetre).toBeCloseTo(1e-3, 12);
    expect(u('meter K-factor at 10 Hz')).toBeCloseTo(0.002 * 47_950e3, 6);
    expect(u('meter K-factor at 100 Hz')).toBeCloseTo(0.003 * 48_000e3, 6);
    expect(u('fluid density') / base.meterDensity).toBeCloseTo(1e-3, 12);
    expect([u('rail pressure'), u('meter temperature'), u('rail temperature')]).toEqual([400, 0.1, 0.1]);
    expect([u('leak in block 4'), u('slip of the meter at the flow of the leak')]).toEqual([1e-9, 5e-10]);
    expect(u('leak change in block 4, injector 3')).toBeCloseTo(10e-9 / Math.sqrt(12), 18);
    expect(u('leak path of injector 3')).toBeCloseTo(4e-8 / Math.sqrt(3), 18);
    // Standard deviation of the mean of four parts about 40 Hz: squares 0.01 + 0.01 + 0.0036 + 0.0036 over 3 x 4.
    expect(u('steadiness and meter in-rotation')).toBeCloseTo(Math.sqrt(0.0272 / 12), 12);
    expect(termOf('steadiness and meter in-rotation')).toMatchObject({ dof: 3, kind: 'random', value: 40, unit: 'Hz' });
    expect(termOf('edge timing')).toMatchObject({ value: 2.5, kind: 'random', dof: Number.POSITIVE_INFINITY });
    for (const t of base.budget) if (t.kind === 'shared') expect(t.dof).toBe(Number.POSITIVE_INFINITY);
    expect(base.budget.filter((t) => t.kind === 'random')).toHaveLength(2);
  });

  it('states the timing by itself: two ticks of 1 us, rectangular, relative to what is left of the leak', () => {
    const base = massOf();
    expect(base.uTiming * 1e7).toBeCloseTo(((base.measured / (base.measured - base.leaked)) * Math.sqrt(2 / 12) * 1e-6 * 1e7) / 2.5, 12);
    expect(base.uTiming).toBeCloseTo(termOf('edge timing').contribution, 18);
    const [random, shared] = (['random', 'shared'] as const).map((kind) => Math.hypot(...base.budget.filter((t) => t.kind === kind).map((t) => t.contribution)));
    expect([base.uRandom / (random ?? 0), base.uShared / (shared ?? 0)]).toEqual([expect.closeTo(1, 12), expect.closeTo(1, 12)]);
  });

  it('takes the scatter from two parts of the window on', () => {
    expect(termOf('steadiness and meter in-rotation', massOf({ partRates: [41, 39] }))).toMatchObject({ standardUncertainty: expect.closeTo(1, 12) as number, dof: 1 });
    for (const partRates of [[], [40]]) expect(termOf('steadiness and meter in-rotation', massOf({ partRates }))).toMatchObject({ standardUncertainty: 0, dof: 1 });
  });

  it('RED-3: has a line for the points of the curve that the rate lies between, by their shares, and for no other', () => {
    const base = massOf();
    const points = (change: Change, equipment: Equipment = pointwise): readonly string[] => massOf(change, equipment, null).budget.filter((t) => t.source.quantity === 'k-factor-point').map((t) => labelOf(t.source));
    expect(points({})).toEqual(['meter K-factor at 10 Hz', 'meter K-factor at 100 Hz']);
    expect(points({ edges: 25 })).toEqual(['meter K-factor at 10 Hz']);
    expect(points({ edges: 500 })).toEqual(['meter K-factor at 100 Hz']);
    expect(points({ edges: 1 })).toEqual(['meter K-factor at 1 Hz']);
    const withNone = { ...pointwise, meter: { ...meter, kFactor: pointwise.meter.kFactor.map((k) => (k.hertz === 10 ? { ...k, ownUncertaintyPercent: 0 } : k)) } };
    expect(points({}, withNone)).toEqual(['meter K-factor at 100 Hz']);
    expect(points({}, { ...syntheticEquipment, meter })).toEqual([]);
    expect(termOf('meter K-factor at 100 Hz').sensitivity * base.kFactorPerCubicMetre).toBeCloseTo(-(base.measured / (base.measured - base.leaked)) / 3, 9);
  });
});

describe('RED-28 budget table', () => {
  it('states the mass with random and shared parts apart, and each row in kg', () => {
    const base = massOf();
    const table = budgetTable(massOf(), pointwise);
    expect(table.mass.value).toBe(base.mass);
    expect(table.mass.uRandom / (base.mass * base.uRandom)).toBeCloseTo(1, 12);
    expect(table.mass.uShared / (base.mass * base.uShared)).toBeCloseTo(1, 12);
    expect(table.rows).toHaveLength(base.budget.length);
    const variance = base.uRandom ** 2 + base.uShared ** 2;
    table.rows.forEach((r, i) => {
      const t = base.budget[i];
      expect(r).toMatchObject({ source: t?.source, value: t?.value, unit: t?.unit, standardUncertainty: t?.standardUncertainty, kind: t?.kind, dof: t?.dof });
      expect(r.relativeContribution).toBe(t?.contribution);
      expect(r.contribution / base.mass).toBeCloseTo(r.relativeContribution, 12);
      expect(r.sensitivity * r.standardUncertainty).toBeCloseTo(Math.sign(r.sensitivity) * r.contribution, 18);
      expect(r.shareOfVariance).toBeCloseTo(r.relativeContribution ** 2 / variance, 12);
    });
    expect(table.rows.reduce((sum, r) => sum + r.shareOfVariance, 0)).toBeCloseTo(1, 12);
    expect(table.rows.filter((r) => r.type === 'A').map((r) => r.source.quantity)).toEqual(['steadiness']);
  });

  it('has the effective degrees of freedom of its random part (Welch-Satterthwaite, GUM G.4.1)', () => {
    const base = massOf();
    const table = budgetTable(base, pointwise);
    const [timing, steady] = [termOf('edge timing').contribution, termOf('steadiness and meter in-rotation').contribution];
    expect(dofOfRandom(base.budget) / ((timing ** 2 + steady ** 2) ** 2 / (steady ** 4 / 3))).toBeCloseTo(1, 12);
    expect(table.mass.dofRandom / dofOfRandom(base.budget)).toBeCloseTo(1, 9);
    // JCGM 100:2008 (GUM) H.1.6: 5.8 nm with 24, 3.9 nm with 5 and 6.7 nm with 8 degrees of freedom have 25.4 together.
    const random = (contribution: number, dof: number) => ({ ...termOf('edge timing'), contribution, dof });
    const gauge = [random(5.8, 24), random(3.9, 5), random(6.7, 8)];
    expect(dofOfRandom(gauge)).toBeCloseTo(25.447, 2);
    expect(dofOfRandom([...gauge, { ...random(50, 2), kind: 'shared' }])).toBeCloseTo(25.447, 2);
    expect(dofOfRandom([random(1, Number.POSITIVE_INFINITY)])).toBe(Number.POSITIVE_INFINITY);
    expect(dofOfRandom([])).toBe(Number.POSITIVE_INFINITY);
  });

  it('shows no share of a variance that is none', () => {
    const base = massOf();
    const exact = { ...base, mass: base.mass, budget: base.budget.map((t) => ({ ...t, contribution: 0 })) };
    expect(budgetTable(exact, pointwise).rows.map((r) => r.shareOfVariance)).toEqual(base.budget.map(() => 0));
  });

  it('names the evidence of every row: certificate, lot, or how the bench works', () => {
    const base = massOf();
    const table = budgetTable(massOf(), pointwise);
    const row = (name: string) => table.rows.find((r) => labelOf(r.source) === name);
    const { certificate, serialNumber } = meter;
    for (const name of ['meter K-factor', 'meter K-factor at 10 Hz']) expect(row(name)?.evidence).toEqual({ kind: 'certificate', instrument: 'flow meter', serialNumber, ...certificate });
    expect(row('rail pressure')?.evidence).toMatchObject({ instrument: 'pressure transducer', serialNumber: 'P-1', number: 'C-2' });
    for (const name of ['meter temperature', 'rail temperature']) expect(row(name)?.evidence).toMatchObject({ instrument: 'thermometer', serialNumber: 'T-1', number: 'C-3' });
    expect(row('fluid density')?.evidence).toEqual({ kind: 'fluid', lot: 'L-1', text: 'equation of state of n-heptane (Span and Wagner 2003), lot opened on 2026-01-05' });
    const measured = { ...pointwise, fluid: { ...pointwise.fluid, measuredDensity: { kgPerM3: 684.5, atC: 20, on: '2026-02-01' } } };
    expect(budgetTable(base, measured).rows.find((r) => r.source.quantity === 'fluid-density')?.evidence).toMatchObject({ kind: 'fluid', text: '684.5 kg/m3 at 20 degC, measured on 2026-02-01' });
    for (const r of table.rows) {
      if (['edge-timing', 'steadiness', 'leak', 'leak-change', 'leak-meter', 'leak-path'].includes(r.source.quantity)) expect(r.evidence).toMatchObject({ kind: 'statement', text: expect.stringMatching(/\w/) as string });
    }
  });
});
