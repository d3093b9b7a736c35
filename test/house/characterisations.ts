/**
 * Do the stated 95 % intervals hold the truth, also where a table interpolates? Whole characterisations of two new injectors
 * each on a bench with newly drawn instrument errors. The windows come from the simulator's pulse physics (needle, coil, its
 * warmth, orifice) without its street of controller, line and engine, which `coverage` goes through: so hundreds take minutes.
 * The truth is noise-free physics at the plan's conditions, the line through widths of 4 ms and more.
 */
import { parseEquipment } from '../../app/equipment/parse.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import { planSchema } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { amperes, celsius, pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import { coverageFactor } from '../../app/uncertainty/budget.ts';
import type { Result } from '../../app/uncertainty/budget.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { uCoilOverRail } from '../../app/reduce/sensitivity.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import type { GridCell, GridTable } from '../../app/tables/grid.ts';
import { mapTables } from '../../app/tables/map.ts';
import { shortPulseTables } from '../../app/tables/short-pulse.ts';
import { simulatedBenchEquipment } from '../../firmware-protocol/simulator/plant/certificates.ts';
import { heptaneDensity } from '../../firmware-protocol/simulator/plant/fluid.ts';
import { drawInjector } from '../../firmware-protocol/simulator/plant/injector-type.ts';
import { drawInstrumentErrors } from '../../firmware-protocol/simulator/plant/instrument-errors.ts';
import { nominalKFactor } from '../../firmware-protocol/simulator/plant/k-factor.ts';
import { PulseTable } from '../../firmware-protocol/simulator/plant/pulse-table.ts';
import { circuitOf, SOURCE_OHM } from '../../firmware-protocol/simulator/plant/supply.ts';
import { FLUID_C, METER_WARMER_K, settledRise } from '../../firmware-protocol/simulator/plant/thermal.ts';
import { RandomSource } from '../../firmware-protocol/simulator/plant/random.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';
import type { Truth } from '../../firmware-protocol/simulator/truth.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { drawLeak } from './leaks.ts';
import type { BenchLeak, LeakCourse, LeakDraw } from './leaks.ts';
import { showImperfections } from './imperfections.ts';

type Quantity = 'dead time' | 'slope' | 'static flow' | 'static / slope' | 'table: dead time' | 'table: slope' | 'table: short pulse' | 'unresolved short pulse' | 'leak by period pair';

export interface Outcome {
  readonly seed: number;
  readonly quantity: Quantity;
  readonly leak: LeakCourse;
  /** What the table or cell gives: a value, one that is marked to be measured again, or none because of a leak. */
  readonly state: 'stated' | 'again' | 'refused';
  /** V; 0: belongs to none. */
  readonly voltage: number;
  readonly inside: boolean;
  /** Estimate minus truth over the stated standard uncertainty; NaN: refused. */
  readonly z: number;
  /** U95 over that of the same windows reduced without zero points, idle time and pair; dead times only, else 0. */
  readonly widened: number;
}

const widthsMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const plan = planSchema.parse({
  planVersion: 1,
  // The share of a run that the rule gives to a bench of eight injectors (PLAN-45).
  zero: { windowS: 40 },
  look: { windowS: 0 },
  invariance: { percent: 0 },
  blind: { percent: 0 },
  name: 'characterisation',
  injectors: [1, 2].map((channel) => ({ serialNumber: `C-${channel}`, type: 'T', channel })),
  axes: { voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 450], widthMs: widthsMs, periodMs: [20], replicates: 3 },
  static: { replicates: 3 },
});
const points = expandPlan(plan);
/**
 * How the windows are reduced: with the record of the bench as it is; with wiring, clamp and time base stated as if they were known
 * exactly; or with a record of version 1, which states none of them.
 */
const knowledge = process.env['BENCH_KNOWN_AS'] ?? 'stated';
const equipment = (() => {
  const parsed = parseEquipment(simulatedBenchEquipment);
  if (!parsed.ok || parsed.equipment.equipmentVersion === 1) throw new Error('the record of the simulated bench does not parse');
  const { wiring, driver, timeBase, name, meter, pressure, temperature, supply, fluid, ambientKpa } = parsed.equipment;
  switch (knowledge) {
    case 'exactly':
      return {
        ...parsed.equipment,
        wiring: { ...wiring, harnessUncertaintyOhm: 0 },
        driver: { ...driver, clampUncertaintyV: 0, channelUncertaintyV: 0 },
        timeBase: { ...timeBase, uncertaintyPpm: 0 },
      };
    case 'version-1':
      return { equipmentVersion: 1 as const, name, meter, pressure, temperature, supply, fluid, ambientKpa };
    default:
      return parsed.equipment;
  }
})();
/** Where tables are asked: between the measured places, and at some of them. */
const tableVoltages = [9.7, 11.2, 13, 15];
const tablePressuresKpa = [300, 375];
const tableWidthsMs = [1.8, 2, 2.1, 2.35];

const zeroLength = 40;

/** As the plant scatters its pulses: a relative part, and the jitter of opening and closing, s. */
const scatterRelative = 0.003;
const scatterS = 10e-6;
/** How far windows stand from the plan's conditions: standard deviations of mean pressure, Pa, and fluid, K. */
const pressureSd = 500;
const fluidSd = 0.3;
const purge = { width: 4e-3, period: 20e-3, duration: 1 };
const coilTau = 1;

/** Time that a point takes beside its window, s; idle time that the first point after a zero point counts, s. */
const beside = { all: 2.3, counted: 2 };
/** The run takes about so long, s, by which the course of a leak is told. */
const runLength = points.reduce((sum, p) => sum + (p.role === 'zero' ? zeroLength : 3.2 + beside.all), 0);

/** One bench with its injectors: makes the window that it would have given for a point. */
function benchOf(scenario: Scenario, leak: BenchLeak): { readonly windowOf: (point: Point) => WindowSummary; readonly duringPairs: number[] } {
  const random = RandomSource.named(scenario.seed, 'characterisation');
  const errors = drawInstrumentErrors(scenario);
  const tables = new Map(plan.injectors.map(({ channel }) => [channel, new PulseTable(drawInjector(scenario.seed, channel).parts, circuitOf(scenario, channel))]));
  // Nobody measures how far the coils stand off the rail: drawn as the budget states it, like the instruments.
  const coilOverRail = uCoilOverRail * random.normal();
  let rise = 0;
  let now = 0;
  let restedBefore = true;
  /** Edges that a flow, m3/s, gives in a time: the meter stands anywhere between two of them. */
  const edgeRate = (volumeFlow: number): number => {
    let hertz = 0;
    for (let i = 0; i < 20; i += 1) hertz = volumeFlow * nominalKFactor(hertz) * leak.meter(hertz) * 1e3 * (1 + errors.kFactor);
    return hertz;
  };
  const zeroWindow = (point: Point): WindowSummary => {
    const pressure = point.pressure - errors.pressurePa + pressureSd * random.normal();
    const step = 0.05;
    let place = random.uniform();
    let edges = 0;
    let first = 0;
    let last = 0;
    for (let t = 0; t < zeroLength; t += step) {
      const rate = edgeRate(leak.at((now + t) / runLength, pressure));
      const after = place + rate * step;
      if (Math.floor(after) > edges) {
        last = Math.round(1e6 * (t + (Math.floor(after) - place) / rate)) / 1e6;
        if (edges === 0) first = Math.round(1e6 * (t + (1 - place) / rate)) / 1e6;
        edges = Math.floor(after);
      }
      place = after;
    }
    now += zeroLength + beside.all;
    restedBefore = true;
    return {
      from: seconds(0), to: seconds(zeroLength), frames: 20 * zeroLength, missingFrames: 0, edges, firstEdgeAt: seconds(first), lastEdgeAt: seconds(last), partRates: [], pulses: 0,
      pressure: { mean: pascals(pressure + errors.pressurePa), sd: 0 },
      supply: { mean: volts(point.voltage), sd: 0 },
      railTemperature: { mean: celsius(FLUID_C + errors.railK), sd: 0 },
      meterTemperature: { mean: celsius(FLUID_C + METER_WARMER_K + errors.meterK), sd: 0 },
    };
  };
  const duringPairs: number[] = [];
  const windowOf = (point: Point): WindowSummary => {
    if (point.role === 'zero') return zeroWindow(point);
    const table = tables.get(point.channel);
    if (table === undefined) throw new Error('no such channel');
    const supply = point.voltage - errors.supplyV;
    const pressure = point.pressure - errors.pressurePa + pressureSd * random.normal();
    const fluid = FLUID_C + fluidSd * random.normal();
    const density = (temperature: number): number => heptaneDensity(temperature, pressure + equipment.ambientKpa * 1e3) * (1 + errors.density);
    const settled = (width: number, period: number): number => {
      let warmth = 0;
      for (let round = 0; round < 4; round += 1) warmth = settledRise(table.pulse(width, supply, pressure, fluid + coilOverRail + warmth).heat, width, period);
      return warmth;
    };
    // The controller times them by its own second.
    const rate = 1 + errors.timeBase;
    const [width, period] = [point.width * rate, point.period * rate];
    let open: number;
    let current: number;
    const flux = Math.sqrt(2 * density(fluid) * pressure);
    if (point.role === 'static') {
      open = period;
      current = 1;
    } else {
      // Purge, then a second to settle, then the window: the coil follows each with its time constant.
      const purged = settled(purge.width, purge.period);
      rise = purged + (rise - purged) * Math.exp(-purge.duration / coilTau);
      const own = settled(width, period);
      const length = 3;
      const left = (rise - own) * Math.exp(-plan.settleS / coilTau);
      const pulse = table.pulse(width, supply, pressure, fluid + coilOverRail + own + (left * coilTau * (1 - Math.exp(-length / coilTau))) / length);
      rise = own + left * Math.exp(-length / coilTau);
      open = pulse.areaTime / table.openArea;
      current = pulse.charge / period;
    }
    const mass = open * table.openArea * flux;
    const meterC = fluid + METER_WARMER_K;
    const idleRate = edgeRate(leak.at(now / runLength, pressure));
    const idle = { edges: Math.floor(random.uniform() + idleRate * beside.counted), time: beside.counted };
    const rested = restedBefore;
    restedBefore = false;
    now += beside.all;
    // Through its own seat nothing leaks while an injector is open.
    const leaks = leak.at(now / runLength, pressure) * (leak.channel === point.channel ? 1 - open / period : 1);
    if (point.role === 'pair') duringPairs.push(leak.at(now / runLength, pressure));
    const hertz = edgeRate(mass / period / density(meterC) + leaks);
    const edges = Math.max(120, 12 * Math.ceil((2 * hertz) / 12));
    now += edges / hertz;
    const pulses = Math.round(edges / hertz / period);
    const ofWindow = Math.hypot(scatterRelative, scatterS / open) / Math.sqrt(pulses);
    const from = Math.round(1e6 * random.uniform()) / 1e6;
    const counted = hertz * rate;
    const to = Math.round(1e6 * (from + edges / (counted * (1 + ofWindow * random.normal())))) / 1e6;
    const parts = 10;
    return {
      from: seconds(0),
      to: seconds(to),
      frames: 60,
      missingFrames: 0,
      edges,
      firstEdgeAt: seconds(from),
      lastEdgeAt: seconds(to),
      partRates: Array.from({ length: parts }, () => counted * (1 + ofWindow * Math.sqrt(parts) * random.normal())),
      pulses,
      ...(rested ? { idle } : {}),
      pressure: { mean: pascals(pressure + errors.pressurePa), sd: 0 },
      current: { mean: amperes(current), sd: 0 },
      supply: { mean: volts(supply + errors.supplyV - SOURCE_OHM * current), sd: 0 },
      railTemperature: { mean: celsius(fluid + errors.railK), sd: 0 },
      meterTemperature: { mean: celsius(meterC + errors.meterK), sd: 0 },
    };
  };
  return { windowOf, duringPairs };
}

/** One characterisation: every stated value held against the truth. */
export function characterise(seed: number, draw: LeakDraw = 'none', look = true): Outcome[] {
  const scenario = scenarioSchema.parse({ scenarioVersion: 1, seed });
  const leak = drawLeak(seed, draw, plan.injectors.map((i) => i.channel));
  const { windowOf, duringPairs } = benchOf(scenario, leak);
  const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: windowOf(point) }));
  const blind = reduceRun({ plan, equipment, points, attempts: attempts.flatMap((a) => (isDriven(a.point) ? [{ ...a, window: withoutIdle(a.window) }] : [])) });
  const reduction = look ? reduceRun({ plan, equipment, points, attempts }) : blind;
  const truths = new Map<string, Truth>();
  const truthAt = (channel: number, voltageV: number, pressureKpa: number): Truth => {
    const key = `${channel}|${voltageV}|${pressureKpa}`;
    const known = truths.get(key) ?? truthOf(scenario, { channel, voltageV, pressureKpa, widthsMs: widthsMs.filter((w) => w >= 4), periodMs: 20, referenceC: plan.reduction.referenceC });
    truths.set(key, known);
    return known;
  };
  const outcomes: Outcome[] = [];
  const note = (quantity: Quantity, voltage: number, { value, expanded, u }: Result, truth: number, interval = { low: value - expanded, high: value + expanded }, state: Outcome['state'] = 'stated', widened = 0): void => {
    outcomes.push({ seed, quantity, voltage, leak: leak.course, state, widened, inside: truth >= interval.low && truth <= interval.high, z: (value - truth) / u });
  };
  const refuse = (quantity: Quantity, voltage: number): void => {
    outcomes.push({ seed, quantity, voltage, leak: leak.course, state: 'refused', widened: 0, inside: false, z: 0 });
  };
  const leaky = reduction.cells.some((c) => c.kind === 'no-line' && c.reason === 'leak');
  /** null: missing because cells beside it were refused. */
  const cellAt = (table: GridTable | undefined, row: number, column: number): Extract<GridCell, { kind: 'value' }> | null => {
    const cell = table?.cells[row]?.[column];
    if (cell?.kind === 'value') return cell;
    if (leaky) return null;
    throw new Error(`seed ${seed}: ${cell?.text ?? 'no such cell'}`);
  };
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') {
      if (cell.reason !== 'leak') throw new Error(`seed ${seed}: no line at ${cell.voltage} V: ${cell.text}`);
      for (const quantity of ['dead time', 'slope', 'static / slope'] as const) refuse(quantity, cell.voltage);
      continue;
    }
    const truth = truthAt(cell.injector + 1, cell.voltage, cell.pressure / 1e3);
    const same = blind.cells.find((b) => b.injector === cell.injector && b.voltage === cell.voltage && b.pressure === cell.pressure);
    const widened = same?.kind === 'line' ? cell.deadTime.expanded / same.deadTime.expanded : 0;
    note('dead time', cell.voltage, cell.deadTime, truth.deadTimeMs / 1e3, cell.deadTimeInterval, (cell.leak?.again ?? null) === null ? 'stated' : 'again', widened);
    note('slope', cell.voltage, cell.slope, truth.slopeMgPerMs / 1e3);
    if (cell.staticToSlope !== null) note('static / slope', cell.voltage, cell.staticToSlope, truth.staticMgPerS / 1e3 / truth.slopeMgPerMs);
  }
  for (const flow of reduction.staticFlows) {
    if (flow.kind !== 'static-flow') {
      if (flow.reason !== 'leak') throw new Error(`seed ${seed}: ${flow.text}`);
      refuse('static flow', 0);
      continue;
    }
    note('static flow', 0, flow.flow, truthAt(flow.injector + 1, flow.voltage, flow.pressure / 1e3).staticMgPerS / 1e6);
  }
  const { periodPair: pair } = reduction;
  // A leak that changes between the windows of a pair is not what it tells.
  if (look && pair.kind === 'period-pair' && (leak.course === 'none' || leak.course === 'constant')) {
    const u = Math.hypot(pair.uRandom, pair.uShared);
    const error = pair.takenOff + pair.flow - duringPairs.reduce((sum, one) => sum + one, 0) / duringPairs.length;
    outcomes.push({ seed, quantity: 'leak by period pair', voltage: 0, leak: leak.course, state: 'stated', widened: 0, inside: Math.abs(error) <= coverageFactor(Number.POSITIVE_INFINITY) * u, z: error / u });
  }
  const axes = { voltages: tableVoltages, pressures: tablePressuresKpa.map((p) => p * 1e3) };
  const deadTimes = mapTables(reduction, 'dead-time', axes);
  const slopes = mapTables(reduction, 'slope', axes);
  const short = shortPulseTables(reduction, tableWidthsMs.map((w) => w / 1e3));
  plan.injectors.forEach(({ channel }, injector) => {
    tableVoltages.forEach((voltage, row) => {
      tablePressuresKpa.forEach((pressure, column) => {
        const truth = truthAt(channel, voltage, pressure);
        const [deadTime, slope] = [cellAt(deadTimes[injector], row, column), cellAt(slopes[injector], row, column)];
        if (deadTime === null) refuse('table: dead time', voltage);
        else note('table: dead time', voltage, deadTime.result, truth.deadTimeMs / 1e3);
        if (slope === null) refuse('table: slope', voltage);
        else note('table: slope', voltage, slope.result, truth.slopeMgPerMs / 1e3);
      });
    });
    const table = short.find((t) => t.of === `C-${channel}` && t.at === '300 kPa');
    plan.axes.voltageV.forEach((voltage, row) => {
      const line = truthAt(channel, voltage, 300);
      const { massesMg } = truthOf(scenario, { channel, voltageV: voltage, pressureKpa: 300, widthsMs: tableWidthsMs, periodMs: 20, referenceC: plan.reduction.referenceC });
      tableWidthsMs.forEach((width, column) => {
        const truth = (massesMg[column] ?? Number.NaN) - line.slopeMgPerMs * (width - line.deadTimeMs);
        const cell = cellAt(table, table?.rows.values.indexOf(voltage) ?? row, column);
        if (cell === null) {
          refuse('table: short pulse', voltage);
          return;
        }
        const { result, basis } = cell;
        // In the region the correction is 0 by definition.
        if (result.value === 0) return;
        note(basis === 'unresolved' ? 'unresolved short pulse' : 'table: short pulse', voltage, result, truth / 1e6);
      });
    });
  });
  return outcomes;
}

const isDriven = (index: number): boolean => points[index]?.role !== 'zero' && points[index]?.role !== 'pair';

function withoutIdle(window: WindowSummary): WindowSummary {
  const without = { ...window };
  Reflect.deleteProperty(without, 'idle');
  return without;
}

/** What the whole must keep, and what each voltage must keep so that no average hides a bad corner. */
const whole = { low: 0.93, high: 0.97 };
const corner = { low: 0.9, high: 0.99, values: 200 };
/** Printed and not judged: what the table itself says it cannot tell. */
const notJudged: readonly Quantity[] = ['unresolved short pulse', 'leak by period pair'];

/** Standard error of the share inside, by characterisation: values of one bench miss together. */
function errorOfShare(list: readonly Outcome[]): number {
  const all = list.filter((o) => o.inside).length / list.length;
  const benches = new Map<number, { inside: number; of: number }>();
  for (const { seed, inside } of list) {
    const bench = benches.get(seed) ?? { inside: 0, of: 0 };
    bench.inside += inside ? 1 : 0;
    bench.of += 1;
    benches.set(seed, bench);
  }
  let squares = 0;
  for (const { inside, of } of benches.values()) squares += (inside - all * of) ** 2;
  return Math.sqrt(squares) / list.length;
}

/** `--leaks`: drawn at random; `--leak=0.05`: constant, mL/min, on every bench; `--blind`: reduced as if nobody had looked. */
function drawFrom(args: readonly string[]): { readonly draw: LeakDraw; readonly look: boolean } {
  const fixed = args.find((a) => a.startsWith('--leak='));
  return {
    draw: fixed === undefined ? (args.includes('--leaks') ? 'random' : 'none') : { constantMlPerMin: Number(fixed.slice('--leak='.length)) },
    look: !args.includes('--blind'),
  };
}

/**
 * Prints shares by quantity and voltage; true when every quantity keeps 93 to 97 % within two standard errors, and every voltage with 200 values 90 to 99 %.
 * What is refused because of a leak states nothing, so it is counted and printed beside.
 */
export async function showCharacterisations(args: readonly string[]): Promise<boolean> {
  if (args[0] === 'imperfections' || args[0] === 'pairs') return showImperfections(args);
  const options = args.filter((a) => a.startsWith('--'));
  const [count = '500', first = '5001'] = args.filter((a) => !a.startsWith('--'));
  const { draw } = drawFrom(options);
  const seeds = Array.from({ length: Number(count) }, (_, i) => Number(first) + i);
  const outcomes = await onAllCores<Outcome>(import.meta.filename, seeds, options);
  const share = (list: readonly Outcome[]): number => list.filter((o) => o.inside).length / list.length;
  const write = (label: string, list: readonly Outcome[]): void => {
    const stated = list.filter((o) => o.state !== 'refused');
    const mean = stated.reduce((sum, o) => sum + o.z, 0) / stated.length;
    const root = Math.sqrt(stated.reduce((sum, o) => sum + o.z * o.z, 0) / stated.length);
    const p = share(stated);
    const counted = draw === 'none' ? '' : `${String(list.length - stated.length).padStart(9)}${String(list.filter((o) => o.state === 'again').length).padStart(7)}`;
    process.stdout.write(
      `${label.padEnd(28)}${String(stated.length).padStart(8)}${`${(100 * p).toFixed(1)} %`.padStart(10)}${(100 * errorOfShare(stated)).toFixed(1).padStart(7)}${mean.toFixed(2).padStart(10)}${root.toFixed(2).padStart(8)}${counted}\n`,
    );
  };
  process.stdout.write(`Share of stated 95 % intervals that hold the truth, ${seeds.length} characterisations of two injectors (+-: standard error by characterisation, whose values share their instruments; z: mean, root mean square)\n`);
  process.stdout.write(`${''.padEnd(28)}${'values'.padStart(8)}${'inside'.padStart(10)}${'+-'.padStart(7)}${'z mean'.padStart(10)}${'rms'.padStart(8)}${draw === 'none' ? '' : `${'refused'.padStart(9)}${'again'.padStart(7)}`}\n`);
  let holds = true;
  for (const quantity of [...new Set(outcomes.map((o) => o.quantity))]) {
    const all = outcomes.filter((o) => o.quantity === quantity);
    const stated = all.filter((o) => o.state !== 'refused');
    write(quantity, all);
    const judged = !notJudged.includes(quantity);
    // Two standard errors: what so few benches cannot tell from the band is not held against it.
    if (judged) holds &&= share(stated) + 2 * errorOfShare(stated) >= whole.low && share(stated) - 2 * errorOfShare(stated) <= whole.high;
    for (const voltage of [...new Set(all.map((o) => o.voltage))].filter((v) => v > 0).sort((a, b) => a - b)) {
      const here = all.filter((o) => o.voltage === voltage);
      write(`  ${voltage} V`, here);
      const values = here.filter((o) => o.state !== 'refused');
      // Few values tell little of a share.
      if (judged && values.length >= corner.values) holds &&= share(values) >= corner.low && share(values) <= corner.high;
    }
    if (draw !== 'random' || quantity !== 'dead time') continue;
    for (const course of ['none', 'constant', 'growing', 'beginning in mid run'] as const) write(`  leak: ${course}`, all.filter((o) => o.leak === course));
  }
  const widened = outcomes.filter((o) => o.leak === 'none' && o.widened > 0);
  for (const voltage of [...new Set(widened.map((o) => o.voltage))].sort((a, b) => a - b)) {
    const ratios = widened.filter((o) => o.voltage === voltage).map((o) => o.widened).sort((a, b) => a - b);
    const at = (part: number): string => (ratios[Math.floor(part * (ratios.length - 1))] ?? Number.NaN).toFixed(3);
    process.stdout.write(`U95 of dead time on benches without a leak, over that of the same windows without a look for leaks: ${voltage} V median ${at(0.5)}, 95 % below ${at(0.95)}\n`);
  }
  return holds;
}

answerPieces(import.meta.filename, (seed) => {
  const { draw, look } = drawFrom(process.argv.slice(2));
  return characterise(seed, draw, look);
});
