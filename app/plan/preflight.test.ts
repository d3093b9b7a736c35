import { describe, expect, test } from 'vitest';
import type { BenchCapabilities } from '../bench/port.ts';
import { equipmentSchema } from '../equipment/equipment.ts';
import type { Equipment } from '../equipment/equipment.ts';
import { kilopascals, milliseconds, seconds, volts } from '../quantities/quantity.ts';
import { expandPlan } from './expand.ts';
import { planSchema } from './plan.ts';
import type { Plan } from './plan.ts';
import type { MeterStanding } from './preflight-line.ts';
import { preflight } from './preflight.ts';
import type { PreflightContext } from './preflight.ts';

const bench: BenchCapabilities = {
  channels: 8,
  timerResolution: seconds(0.5e-6),
  minWidth: milliseconds(0.1),
  maxWidth: milliseconds(100),
  minPeriod: milliseconds(1),
  maxPeriod: milliseconds(1000),
  maxCount: 1_000_000,
  minSupply: volts(6),
  maxSupply: volts(18),
  safeSupply: volts(0),
  pressure: { commandable: true, min: kilopascals(100), max: kilopascals(600) },
  deadManMin: seconds(0.1),
  deadManMax: seconds(10),
  telemetryMaxHz: 100,
  interlocks: ['emergency-stop'],
};

const controller = { model: 'bench', serialNumber: 'B-7', simulated: false };
const certificate = { number: 'C-7', date: '2025-03-01', validUntil: '2027-02-28' };
const lab = (certificates: Partial<Record<'meter' | 'pressure' | 'supply' | 'fluid', object>> = {}, calibratedHertz: readonly number[] = [1, 400]): Equipment =>
  equipmentSchema.parse({
    equipmentVersion: 2,
    name: 'Bench',
    controller: { model: 'bench', serialNumber: 'B-7' },
    wiring: { sensedAt: 'supply', harnessOhm: 0.1, harnessUncertaintyOhm: 0.01 },
    driver: { type: 'saturated switch', clampV: 38, clampUncertaintyV: 0.5 },
    timeBase: { kind: 'crystal', uncertaintyPpm: 30, refuseAbovePpm: 200 },
    meter: {
      kind: 'gear', serialNumber: 'M-1', kFactor: calibratedHertz.map((hertz) => ({ hertz, edgesPerLitre: 48_000 })), relativeUncertaintyPercent: 0.1, edgesPerRevolution: 24,
      certificate: { ...certificate, ...certificates.meter },
    },
    pressure: { serialNumber: 'P-1', uncertaintyKpa: 0.4, whileOpenKpa: 0.5, certificate: { ...certificate, ...certificates.pressure } },
    temperature: { serialNumber: 'T-1', uncertaintyC: 0.1, certificate },
    supply: { serialNumber: 'S-1', uncertaintyMv: 5, insidePulseMv: 10, certificate, ...certificates.supply },
    fluid: { name: 'n-heptane', lot: 'L', openedOn: '2026-01-05', densityUncertaintyPercent: 0.1, purityPercent: 99.5, ...certificates.fluid },
    ambientKpa: 101.325,
  });

/** The same record without what it states of one of these three beyond an instrument's own uncertainty. */
function without(of: 'pressure' | 'supply' | 'fluid', more: object = {}): Equipment {
  const { whileOpenKpa, ...pressure } = lab().pressure;
  const { insidePulseMv, ...supply } = lab().supply;
  const { purityPercent, ...fluid } = lab().fluid;
  expect([whileOpenKpa, insidePulseMv, purityPercent]).toEqual([0.5, 10, 99.5]);
  return equipmentSchema.parse({ ...lab(), ...more, [of]: { pressure, supply, fluid }[of] });
}

/** The same bench as it was written down before records named their controller. */
function version1(): Equipment {
  const rest = Object.entries(lab()).filter(([field]) => !['controller', 'wiring', 'driver', 'timeBase'].includes(field));
  return equipmentSchema.parse({ ...Object.fromEntries(rest), equipmentVersion: 1 });
}

const guards = [
  { id: 'rail', signal: 'pressure-deviation-kpa', low: -20, high: 20, level: 'hold' },
  { id: 'warm', signal: 'rail-temperature-c', high: 35, level: 'trip' },
];

function planOf(change: object = {}, axes: object = {}): Plan {
  return planSchema.parse({
    planVersion: 1,
    zero: { windowS: 40 },
    pair: { windows: 0 },
    look: { windowS: 0 },
    invariance: { percent: 0 },
    blind: { percent: 0 },
    name: 'test',
    injectors: [{ serialNumber: 'A', type: 'T', channel: 1 }, { serialNumber: 'B', type: 'T', channel: 8 }],
    axes: { voltageV: [9, 14], pressureKpa: [400], widthMs: [2.5, 5, 17], periodMs: [20], replicates: 2, ...axes },
    guards,
    ...change,
  });
}

/** What a plan states of the type of its injectors. */
const flowing = (staticFlowGPerMin: number, more: object = {}) => [{ type: 'T', staticFlowGPerMin, ...more }];

const unchecked: MeterStanding = { result: 'pass', text: 'No check of this meter.', checkedHertz: null };
const checkedAt = (lowest: number, highest: number): Partial<PreflightContext> => ({ meterChecks: { ...unchecked, text: 'Check 1 is in force.', checkedHertz: { lowest, highest } } });

function sheet(plan: Plan, context: Partial<PreflightContext> = {}) {
  return preflight(plan, expandPlan(plan), { capabilities: bench, controller, equipment: lab(), freeDiskBytes: 1e9, meterChecks: unchecked, qualification: null, today: '2026-05-01', ...context });
}

function line(rule: string, plan: Plan, context: Partial<PreflightContext> = {}) {
  return sheet(plan, context).lines.find((l) => l.rule === rule);
}

const withBench = (change: Partial<BenchCapabilities>): Partial<PreflightContext> => ({ capabilities: { ...bench, ...change } });

const silentMeter = (rail?: object): Partial<PreflightContext> => {
  const { meter, ...rest } = lab();
  return { equipment: equipmentSchema.parse({ ...rest, meter: { ...meter, leastHertz: 2 }, ...(rail === undefined ? {} : { rail }) }) };
};
const shutOff = { capabilities: { ...bench, rail: { pump: true, relief: true, shutOff: true } } };
const railOfRecord = { complianceMlPerMpa: 75, complianceUncertaintyPercent: 5, volumeMl: 50 };
const idleGuard = (dwellS: number) => [...guards, { id: 'leak', signal: 'idle-flow-ml-min', high: 1, dwellS, level: 'trip' }];

const cases: readonly (readonly [rule: string, result: 'pass' | 'warn' | 'refuse', words: string, plan: Plan, context: Partial<PreflightContext>])[] = [
  ['PRE-1', 'warn', 'more than a day', planOf({ window: { minS: 30 } }, { replicates: 900 }), {}],
  ['PRE-4', 'refuse', '20 V is out of reach', planOf({}, { voltageV: [14, 20] }), {}],
  ['PRE-4', 'refuse', '5 and 20 V are out of reach', planOf({}, { voltageV: [14, 20, 5] }), {}],
  ['PRE-4', 'refuse', '19 V is out of reach', planOf({ reference: { injector: 'A', voltageV: 19, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 9 } }), {}],
  ['PRE-5', 'refuse', '700 kPa is out of reach', planOf({}, { pressureKpa: [400, 700] }), {}],
  ['PRE-5', 'pass', '300 and 400 kPa', planOf({}, { pressureKpa: [400, 300] }), {}],
  ['PRE-5', 'warn', 'Set the regulator to 400 kPa', planOf(), withBench({ pressure: { commandable: false } })],
  ['PRE-5', 'warn', 'ask the operator 2 times', planOf({}, { pressureKpa: [300, 400] }), withBench({ pressure: { commandable: false } })],
  ['PRE-6', 'refuse', 'pulse widths of 17 ms', planOf(), withBench({ maxWidth: milliseconds(16) })],
  ['PRE-6', 'refuse', 'periods of 20 ms', planOf(), withBench({ minPeriod: milliseconds(25) })],
  ['PRE-6', 'refuse', 'pulse widths of 2 ms', planOf({ purge: { widthMs: 2 } }), withBench({ minWidth: milliseconds(2.2) })],
  ['PRE-7', 'warn', '2.50025 ms is between two ticks', planOf({}, { widthMs: [2.50025, 5] }), {}],
  ['PRE-7', 'pass', '0.5 us', planOf({}, { widthMs: [2.5005, 5, 0.3, 1.1] }), {}],
  ['PRE-8', 'pass', '85 %', planOf({}, { widthMs: [2.5, 17] }), {}],
  ['PRE-8', 'refuse', 'the plan allows 85 %', planOf({}, { widthMs: [2.5, 17.1] }), {}],
  ['PRE-8', 'refuse', 'does not fit', planOf({}, { widthMs: [2.5, 21] }), {}],
  ['PRE-9', 'refuse', 'B on channel 8', planOf(), withBench({ channels: 6 })],
  ['PRE-10', 'refuse', 'counts to 1000', planOf(), withBench({ maxCount: 1000 })],
  ['PRE-10', 'refuse', '5000 pulses', planOf({ purge: { pulses: 5000 } }), withBench({ maxCount: 4000 })],
  ['PRE-11', 'refuse', 'Make room', planOf(), { freeDiskBytes: 1000 }],
  ['PRE-11', 'warn', 'could not be found out', planOf(), { freeDiskBytes: null }],
  ['PRE-12', 'refuse', 'M-1 (certificate C-7, ended on 2026-04-30)', planOf(), { equipment: lab({ meter: { validUntil: '2026-04-30' } }) }],
  ['PRE-12', 'refuse', 'valid only from 2026-05-02', planOf(), { equipment: lab({ pressure: { date: '2026-05-02' } }) }],
  ['PRE-12', 'warn', 'ends on 2026-05-30', planOf(), { equipment: lab({ meter: { validUntil: '2026-05-30' } }) }],
  ['PRE-63', 'warn', 'no archive is open', planOf(), { meterChecks: null }],
  ['PRE-63', 'warn', 'another is in force', planOf(), { meterChecks: { ...unchecked, result: 'warn', text: 'Check 2, another is in force.' } }],
  ['PRE-63', 'refuse', 'Calibrate the meter, or choose to measure all the same', planOf(), { meterChecks: { ...unchecked, result: 'untraceable', text: 'It has drifted.' } }],
  ['PRE-63', 'pass', 'Check 1 is in force.', planOf(), checkedAt(0.01, 1e4)],
  ['PRE-63', 'warn', 'checked from 40 to 60 Hz, and the plan needs about', planOf(), checkedAt(40, 60)],
  ['PRE-40', 'refuse', 'belongs to the controller bench B-7, and bench B-8 is connected', planOf(), { controller: { ...controller, serialNumber: 'B-8' } }],
  ['PRE-40', 'refuse', '"serialNumber": "B-7"', planOf(), { equipment: version1() }],
  ['PRE-40', 'warn', 'simulated', planOf(), { controller: { ...controller, serialNumber: 'B-8', simulated: true } }],
  ['PRE-40', 'warn', 'no bench is connected', planOf(), { controller: null }],
  ['PRE-41', 'warn', 'as if all three were known exactly', planOf(), { equipment: version1() }],
  ['PRE-42', 'pass', 'no limit', planOf(), {}],
  ['PRE-42', 'pass', '116 days ago; the record allows 116 days', planOf(), { equipment: lab({ fluid: { useWithinDays: 116 } }) }],
  ['PRE-42', 'refuse', '116 days ago; the record allows 115 days', planOf(), { equipment: lab({ fluid: { useWithinDays: 115 } }) }],
  ['PRE-42', 'refuse', 'after today', planOf(), { equipment: lab({ fluid: { openedOn: '2026-05-02' } }) }],
  ['PRE-53', 'pass', 'from 1 to 400 edges a second; the plan needs', planOf(), {}],
  ['PRE-53', 'warn', 'one point, at 10 edges a second', planOf(), { equipment: lab({ meter: { validUntil: '2027-02-28' } }, [10]) }],
  ['PRE-53', 'warn', 'Beyond its points the K-factor is taken to stay as it is', planOf(), { equipment: lab({}, [1, 10]) }],
  ['PRE-54', 'pass', '0.5 kPa at most', planOf(), {}],
  ['PRE-54', 'pass', 'compliance of the rail', planOf(), { equipment: without('pressure', { rail: { complianceMlPerMpa: 76, complianceUncertaintyPercent: 3, volumeMl: 50 } }) }],
  ['PRE-54', 'warn', 'State pressure.whileOpenKpa', planOf(), { equipment: without('pressure') }],
  ['PRE-55', 'pass', '10 mV at most', planOf(), {}],
  ['PRE-55', 'warn', 'State supply.insidePulseMv', planOf(), { equipment: without('supply') }],
  ['PRE-55', 'pass', 'sags by 0 mV at most', planOf(), { equipment: lab({ supply: { insidePulseMv: 0 } }) }],
  ['PRE-56', 'pass', '99.5 % n-heptane; its density was not measured', planOf(), {}],
  ['PRE-56', 'pass', 'was measured on 2026-01-06', planOf(), { equipment: lab({ fluid: { purityPercent: undefined, measuredDensity: { kgPerM3: 684, atC: 20, on: '2026-01-06' } } }) }],
  ['PRE-56', 'warn', 'Measure the density of the lot, or state fluid.purityPercent', planOf(), { equipment: without('fluid') }],
  ['PRE-12', 'pass', 'in calibration', planOf(), { equipment: lab({ meter: { validUntil: '2026-05-31' } }) }],
  ['PRE-13', 'refuse', 'the plan wants 50 ms', planOf({ link: { deadManMs: 50 } }), {}],
  ['PRE-14', 'refuse', '100 frames a second at most', planOf({ link: { telemetryHz: 150 } }), {}],
  // One edge of 48 000 to the litre in 40 s; 4 g/s, 20 ms.
  ['PRE-30', 'pass', 'one of them sees is 0.0313 mL/min, which moves the dead time by 1.78 us', planOf(), {}],
  ['PRE-30', 'pass', 'all of them together see 0.0104 mL/min', planOf(), {}],
  ['PRE-30', 'warn', 'no zero points', planOf({ zero: { windowS: 0 } }), {}],
  ['PRE-30', 'pass', '2 period pairs', planOf({ pair: { windows: 1 } }), {}],
  ['PRE-31', 'pass', 'takes 35.6 s of zero flow', planOf(), {}],
  ['PRE-31', 'warn', 'Set zero.windowS to 72', planOf({ zero: { windowS: 40, deadTimeUs: 1 } }), {}],
  ['PRE-31', 'warn', 'the plan has none', planOf({ zero: { windowS: 0 } }), {}],
  ['PRE-32', 'pass', 'states no least flow', planOf(), {}],
  ['PRE-32', 'warn', 'less than 2.5 mL/min, which moves the dead time by 143 us', planOf(), silentMeter()],
  ['PRE-32', 'warn', 'cannot shut its rail off', planOf(), silentMeter()],
  ['PRE-32', 'warn', 'does without the pressure decay', planOf({ zero: { windowS: 40, decayS: 0 } }), { ...silentMeter(), ...shutOff }],
  ['PRE-32', 'warn', "without the rail's compliance", planOf(), { ...silentMeter(), ...shutOff }],
  ['PRE-32', 'pass', 'sees 0.0156 mL/min', planOf(), { ...silentMeter(railOfRecord), ...shutOff }],
  ['PRE-33', 'pass', 'needs 10 s without pulses; a zero point gives 43 s', planOf({ guards: idleGuard(2) }), {}],
  ['PRE-33', 'refuse', 'leak needs 18 s without pulses (3 s of rest, 5 s of counting, dwellS 10 s), and the longest time without pulses is under a second', planOf({ guards: idleGuard(10), zero: { windowS: 0 } }), {}],
  ['PRE-33', 'refuse', 'the longest time without pulses is 13 s, at a zero point', planOf({ guards: idleGuard(10), zero: { windowS: 10 } }), {}],
  ['PRE-33', 'refuse', 'rail acts after 60 s outside (dwellS), and the longest point, in which it is looked at, takes 43 s', planOf({ guards: [{ ...guards[0], dwellS: 60 }, guards[1]] }), {}],
  ['PRE-33', 'refuse', 'warm acts after 9000 s', planOf({ guards: [guards[0], { ...guards[1], dwellS: 9000 }] }), {}],
  ['PRE-34', 'pass', 'the plan is so short', planOf(), {}],
  ['PRE-34', 'pass', '% of the time of the other points.', planOf({ zero: {} }, { replicates: 200 }), {}],
  ['PRE-6', 'refuse', 'pair.windows 0', planOf({ pair: { windows: 1 } }), withBench({ maxPeriod: milliseconds(30) })],
  ['PRE-14', 'warn', 'seen late', planOf({ link: { telemetryHz: 2 } }), {}],
  ['PRE-15', 'warn', 'at 9 V and 1.2 ms no flow at all', planOf({}, { widthMs: [1.2, 1.8, 5] }), {}],
  ['PRE-15', 'warn', '3 of 6 set points', planOf({ types: flowing(30) }, { widthMs: [1.2, 1.8, 5] }), {}],
  ['PRE-16', 'warn', 'watches the rail pressure.', planOf({ guards: guards.slice(1) }), {}],
  ['PRE-16', 'warn', 'the fluid temperature', planOf({ guards: [guards[0], { ...guards[1], level: 'note' }] }), {}],
  ['PRE-17', 'refuse', 'stops above 390 kPa', planOf({ guards: [{ id: 'high', signal: 'pressure-kpa', high: 390, level: 'trip' }] }), {}],
  ['PRE-17', 'refuse', 'stops below 410 kPa', planOf({ guards: [{ id: 'low', signal: 'pressure-kpa', low: 410, level: 'trip' }] }), {}],
  ['PRE-17', 'refuse', 'none of the temperatures', planOf({ guards: [{ id: 't', signal: 'meter-temperature-c', high: 10, level: 'trip' }] }), {}],
  ['PRE-17', 'refuse', 'no supply at its set point', planOf({ guards: [{ id: 's', signal: 'supply-deviation-v', low: 0.1, level: 'trip' }] }), {}],
  ['PRE-17', 'refuse', 'no positive reading', planOf({ guards: [{ id: 'i', signal: 'current-a', high: 0, level: 'trip' }] }), {}],
  ['PRE-17', 'warn', 'tighter than the wait for pressure', planOf({ guards: [{ ...guards[0], high: 2 }] }), {}],
  ['PRE-17', 'warn', 'tighter than the wait for the supply', planOf({ guards: [{ id: 's', signal: 'supply-deviation-v', high: 0.02, level: 'hold' }] }), {}],
  ['PRE-18', 'warn', 'pressure (wait +/- 9 kPa', planOf({ condition: { pressureToleranceKpa: 9 } }), {}],
  ['PRE-18', 'warn', 'temperature (wait 5 to 30', planOf({ condition: { temperatureMinC: 5 } }), {}],
  ['PRE-18', 'warn', 'supply (wait', planOf({ supply: { toleranceV: 0.1 } }), {}],
  ['PRE-51', 'refuse', 'can never give 96 meter edges within 10 s', planOf({ types: flowing(60), window: { minEdges: 96, minS: 0.8, maxS: 10 } }, { widthMs: [0.5, 5] }), {}],
  ['PRE-51', 'pass', 'No set point', planOf({ window: { minEdges: 96, minS: 0.8, maxS: 60 } }, { widthMs: [1.2, 5] }), {}],
  ['PRE-52', 'refuse', 'can never be accepted', planOf({ window: { minEdges: 96, minS: 0.8, maxS: 1 }, link: { telemetryHz: 4 } }), {}],
  ['PRE-52', 'warn', 'mostly be rejected', planOf({ window: { minEdges: 96, minS: 0.8, maxS: 2.5 }, link: { telemetryHz: 4 } }), {}],
  ['PRE-52', 'pass', 'At 4 frames', planOf({ window: { minEdges: 96, minS: 0.8, maxS: 12 }, link: { telemetryHz: 4 } }), {}],
  ['PRE-66', 'pass', 'requires no qualification', planOf(), {}],
  ['PRE-66', 'pass', 'requires no qualification of the bench. It ended.', planOf(), { qualification: { holds: false, text: 'It ended.' } }],
  ['PRE-66', 'warn', 'Not checked', planOf({ qualification: 'required' }), {}],
  ['PRE-66', 'refuse', 'It ended. The plan requires', planOf({ qualification: 'required' }), { qualification: { holds: false, text: 'It ended.' } }],
  ['PRE-66', 'pass', 'It holds.', planOf({ qualification: 'required' }), { qualification: { holds: true, text: 'It holds.' } }],
  ['PRE-60', 'pass', 'No bench time goes into an invariance set', planOf(), {}],
  ['PRE-60', 'pass', '4 windows, of each injector 1 short pulses at twice the period, 1 longest pulses at twice the period', planOf({ invariance: { percent: 5, pressurePercent: 0 } }, { widthMs: [2.5, 5, 7, 9, 11, 13, 15, 16], voltageV: [14], replicates: 8 }), {}],
  ['PRE-60', 'warn', 'Set invariance.percent lower', planOf({ invariance: { percent: 20 } }, { replicates: 10 }), {}],
  ['PRE-61', 'pass', 'no blind windows', planOf(), {}],
  ['PRE-61', 'pass', '6 blind windows, their widths shifted by up to 15 us', planOf({ blind: { percent: 5, mostUs: 15 } }, { replicates: 10 }), {}],
  ['PRE-62', 'pass', 'by itself', planOf({ invariance: { percent: 20 } }, { replicates: 10 }), {}],
  ['PRE-62', 'warn', 'the operator has to change the pressure by 2 %', planOf({ invariance: { percent: 20 } }, { replicates: 10 }), withBench({ pressure: { commandable: false } })],
  ['PRE-19', 'refuse', 'go beyond', planOf({ accept: { temperatureMaxC: 70 } }), {}],
  ['PRE-51', 'refuse', 'can never give 96 meter edges within 10 s', planOf({ types: flowing(60), window: { minEdges: 96, minS: 0.8, maxS: 10 } }, { widthMs: [0.5, 5] }), {}],
  ['PRE-51', 'pass', 'No set point', planOf({ window: { minEdges: 96, minS: 0.8, maxS: 60 } }, { widthMs: [1.2, 5] }), {}],
  ['PRE-19', 'refuse', 'go beyond', planOf({ reduction: { referenceC: 99 } }), {}],
];

describe('the sheet', () => {
  test('of a good plan passes line by line, one line for each rule', () => {
    const { lines } = sheet(planOf());
    expect(lines.filter((l) => l.result !== 'pass')).toEqual([]);
    expect(lines.map((l) => l.rule)).toEqual([...Array.from({ length: 19 }, (_, i) => `PRE-${i + 1}`), ...Array.from({ length: 5 }, (_, i) => `PRE-${i + 30}`), 'PRE-40', 'PRE-41', 'PRE-42', 'PRE-50', 'PRE-51', 'PRE-52', 'PRE-53', 'PRE-54', 'PRE-55', 'PRE-56', 'PRE-60', 'PRE-61', 'PRE-62', 'PRE-64', 'PRE-65', 'PRE-66', 'PRE-63']);
    for (const { text } of lines) expect(text).toMatch(/^[A-Z0-9].*\.$/u);
  });

  test.each(cases)('%s: %s with "%s" (case %#)', (rule, result, words, plan, context) => {
    const found = line(rule, plan, context);
    expect(found?.result).toBe(result);
    expect(found?.text).toContain(words);
  });

  test('is made of the largest plan as well', () => {
    const widths = Array.from({ length: 500 }, (_, i) => 3 + i / 100);
    const plan = planOf({}, { widthMs: widths, voltageV: [9, 10, 11, 12], replicates: 49 });
    expect(sheet(plan).totals.points).toBe(196_005);
  });

  test('PRE-3 PRE-15 say which flow was assumed, and only then', () => {
    expect(line('PRE-3', planOf())?.text).toContain('assuming a static flow of 240 g/min');
    expect(line('PRE-3', planOf({ types: flowing(300) }))?.text).not.toContain('assuming');
  });

  test.each([
    ['2028-02-14', '2028-03-15', 'pass'],
    ['2028-02-15', '2028-03-15', 'warn'],
    ['2027-02-14', '2027-03-16', 'pass'],
    ['2027-02-14', '2027-03-15', 'warn'],
    ['2026-12-10', '2027-01-09', 'pass'],
    ['2026-12-11', '2027-01-09', 'warn'],
  ])('PRE-12 counts 30 days from %s to %s: %s', (today, validUntil, result) => {
    const later = { ...certificate, validUntil: '2030-01-01' };
    const equipment = { ...lab({ meter: { validUntil }, pressure: later }) };
    const rest = { temperature: { ...equipment.temperature, certificate: later }, supply: { ...equipment.supply, certificate: later } };
    expect(line('PRE-12', planOf(), { today, equipment: { ...equipment, ...rest } })?.result).toBe(result);
  });
});

test('RUN-110 only lines about days can be passed over by choice, and they carry the reason without the remedy', () => {
  const { lines } = sheet(planOf({}, { voltageV: [20] }), { equipment: lab({ meter: { validUntil: '2026-04-30' } }), controller: { ...controller, serialNumber: 'B-8' } });
  const refused = lines.filter((l) => l.result === 'refuse');
  expect(refused.map((l) => l.rule)).toEqual(['PRE-4', 'PRE-12', 'PRE-40']);
  expect(refused.map((l) => l.untraceable)).toEqual([undefined, 'Not in calibration on 2026-05-01: the flow meter M-1 (certificate C-7, ended on 2026-04-30).', undefined]);
});

test('without a bench the lines that only it can tell say so, in words and to programs, and with one none does', () => {
  const awaiting = (context: Partial<PreflightContext>): readonly string[] => sheet(planOf(), context).lines.filter((l) => l.awaitsBench === true).map((l) => l.rule);
  expect(awaiting({})).toEqual([]);
  const none = { capabilities: null, controller: null };
  expect(awaiting(none)).toEqual(sheet(planOf(), none).lines.filter((l) => l.text.startsWith('Not checked, because no bench is connected:')).map((l) => l.rule));
  expect(awaiting(none)).toEqual(['PRE-4', 'PRE-5', 'PRE-6', 'PRE-7', 'PRE-9', 'PRE-10', 'PRE-13', 'PRE-14', 'PRE-40']);
});

describe('totals', () => {
  test('PRE-1 PRE-2 of one point, by hand', () => {
    // 14 V, 400 kPa, 5 ms in 20 ms: (5 - 0.69) ms * 4 g/s = 17.24 mg; 0.862 g/s / 684.2 kg/m3 = 1.2599 mL/s; 60.5 edges/s,
    // so 100 edges take 1.65 s and the window is the 2 s of the plan.
    const plan = planOf({ zero: { windowS: 0 }, injectors: [{ serialNumber: 'A', type: 'T', channel: 1 }] }, { voltageV: [14], widthMs: [5], replicates: 1 });
    const { totals } = sheet(plan);
    expect(totals.points).toBe(1);
    // settle 1 s and window 2 s are 150 pulses, purge 50.
    expect(totals.pulses).toBe(200);
    expect(totals.fluidMl).toBeCloseTo((150 * 17.24 + 50 * 13.24) / 684, 3);
    // 8 s to begin; supply 1.4 s slew from 0 V and 0.3 s steady; pressure 3 s and 0.5 s steady; 1 s purge, 1 s settle,
    // 2 s window; eight frames of 0.05 s.
    expect(totals.durationS).toBeCloseTo(17.6, 9);
    expect(totals.telemetryFrames).toBe(352);
  });

  test('PRE-15 a slow point takes as long as its edges need, at most window.maxS', () => {
    const one = (widthMs: number) =>
      sheet(planOf({ zero: { windowS: 0 }, window: { minEdges: 1000 }, injectors: [{ serialNumber: 'A', type: 'T', channel: 1 }] }, { voltageV: [14], widthMs: [widthMs], replicates: 1 })).totals.durationS;
    expect(one(5) - one(17)).toBeCloseTo(1000 / 60.475 - 1000 / 228.85, 0);
    expect(one(0.5)).toBeCloseTo(17.6 - 2 + 60, 6);
  });
});
