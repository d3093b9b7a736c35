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
import { celsius, pascals, seconds, volts } from '../../app/quantities/quantity.ts';
import type { Result } from '../../app/reduce/budget.ts';
import { reduceRun } from '../../app/reduce/reduce.ts';
import { uCoilOverRail } from '../../app/reduce/sensitivity.ts';
import type { WindowSummary } from '../../app/run/window.ts';
import type { GridCell, GridTable } from '../../app/tables/grid.ts';
import { mapTables } from '../../app/tables/map.ts';
import { shortPulseTables } from '../../app/tables/short-pulse.ts';
import { simulatedBenchEquipment } from '../../firmware-protocol/simulator/certificates.ts';
import { heptaneDensity } from '../../firmware-protocol/simulator/plant/fluid.ts';
import { drawInjector } from '../../firmware-protocol/simulator/plant/injector-type.ts';
import { drawInstrumentErrors } from '../../firmware-protocol/simulator/plant/instrument-errors.ts';
import { nominalKFactor } from '../../firmware-protocol/simulator/plant/k-factor.ts';
import { PulseTable } from '../../firmware-protocol/simulator/plant/pulse-table.ts';
import { SOURCE_OHM } from '../../firmware-protocol/simulator/plant/supply.ts';
import { FLUID_C, METER_WARMER_K, settledRise } from '../../firmware-protocol/simulator/plant/thermal.ts';
import { RandomSource } from '../../firmware-protocol/simulator/random.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/scenario.ts';
import type { Scenario } from '../../firmware-protocol/simulator/scenario.ts';
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';
import type { Truth } from '../../firmware-protocol/simulator/truth.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';

type Quantity = 'dead time' | 'slope' | 'static flow' | 'static / slope' | 'table: dead time' | 'table: slope' | 'table: short pulse' | 'unresolved short pulse';

export interface Outcome {
  readonly quantity: Quantity;
  /** V; 0: belongs to none. */
  readonly voltage: number;
  readonly inside: boolean;
  /** Estimate minus truth over the stated standard uncertainty. */
  readonly z: number;
}

const widthsMs = [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12];
const plan = planSchema.parse({
  planVersion: 1,
  zero: { windowS: 0 },
  pair: { windows: 0 },
  name: 'characterisation',
  injectors: [1, 2].map((channel) => ({ serialNumber: `C-${channel}`, type: 'T', channel })),
  axes: { voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [300, 450], widthMs: widthsMs, periodMs: [20], replicates: 3 },
  static: { replicates: 3 },
});
const points = expandPlan(plan);
const equipment = (() => {
  const parsed = parseEquipment(simulatedBenchEquipment);
  if (!parsed.ok) throw new Error('the record of the simulated bench does not parse');
  return parsed.equipment;
})();
/** Where tables are asked: between the measured places, and at some of them. */
const tableVoltages = [9.7, 11.2, 13, 15];
const tablePressuresKpa = [300, 375];
const tableWidthsMs = [1.8, 2, 2.1, 2.35];

/** As the plant scatters its pulses: a relative part, and the jitter of opening and closing, s. */
const scatterRelative = 0.003;
const scatterS = 10e-6;
/** How far windows stand from the plan's conditions: standard deviations of mean pressure, Pa, and fluid, K. */
const pressureSd = 500;
const fluidSd = 0.3;
const purge = { width: 4e-3, period: 20e-3, duration: 1 };
const coilTau = 1;

/** One bench with its injectors: makes the window that it would have given for a point. */
function benchOf(scenario: Scenario): (point: Point) => WindowSummary {
  const random = RandomSource.named(scenario.seed, 'characterisation');
  const errors = drawInstrumentErrors(scenario);
  const tables = new Map(plan.injectors.map(({ channel }) => [channel, new PulseTable(drawInjector(scenario.seed, channel).parts)]));
  // Nobody measures how far the coils stand off the rail: drawn as the budget states it, like the instruments.
  const coilOverRail = uCoilOverRail * random.normal();
  let rise = 0;
  return (point) => {
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
    const { width, period } = point;
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
    const volumeFlow = mass / period / density(meterC);
    let hertz = 0;
    for (let i = 0; i < 20; i += 1) hertz = volumeFlow * nominalKFactor(hertz) * 1e3 * (1 + errors.kFactor);
    const edges = Math.max(120, 12 * Math.ceil((2 * hertz) / 12));
    const pulses = Math.round(edges / hertz / period);
    const ofWindow = Math.hypot(scatterRelative, scatterS / open) / Math.sqrt(pulses);
    const from = Math.round(1e6 * random.uniform()) / 1e6;
    const to = Math.round(1e6 * (from + edges / (hertz * (1 + ofWindow * random.normal())))) / 1e6;
    const parts = 10;
    return {
      from: seconds(0),
      to: seconds(to),
      frames: 60,
      missingFrames: 0,
      edges,
      firstEdgeAt: seconds(from),
      lastEdgeAt: seconds(to),
      partRates: Array.from({ length: parts }, () => hertz * (1 + ofWindow * Math.sqrt(parts) * random.normal())),
      pulses,
      pressure: { mean: pascals(pressure + errors.pressurePa), sd: 0 },
      supply: { mean: volts(supply + errors.supplyV - SOURCE_OHM * current), sd: 0 },
      railTemperature: { mean: celsius(fluid + errors.railK), sd: 0 },
      meterTemperature: { mean: celsius(meterC + errors.meterK), sd: 0 },
    };
  };
}

/** One characterisation: every stated value held against the truth. */
export function characterise(seed: number): Outcome[] {
  const scenario = scenarioSchema.parse({ scenarioVersion: 1, seed });
  const windowOf = benchOf(scenario);
  const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: windowOf(point) }));
  const reduction = reduceRun({ plan, equipment, points, attempts });
  const truths = new Map<string, Truth>();
  const truthAt = (channel: number, voltageV: number, pressureKpa: number): Truth => {
    const key = `${channel}|${voltageV}|${pressureKpa}`;
    const known = truths.get(key) ?? truthOf(scenario, { channel, voltageV, pressureKpa, widthsMs: widthsMs.filter((w) => w >= 4), periodMs: 20, referenceC: plan.reduction.referenceC });
    truths.set(key, known);
    return known;
  };
  const outcomes: Outcome[] = [];
  const note = (quantity: Quantity, voltage: number, { value, expanded, u }: Result, truth: number, interval = { low: value - expanded, high: value + expanded }): void => {
    outcomes.push({ quantity, voltage, inside: truth >= interval.low && truth <= interval.high, z: (value - truth) / u });
  };
  const cellAt = (table: GridTable | undefined, row: number, column: number): Extract<GridCell, { kind: 'value' }> => {
    const cell = table?.cells[row]?.[column];
    if (cell?.kind !== 'value') throw new Error(`seed ${seed}: ${cell?.text ?? 'no such cell'}`);
    return cell;
  };
  for (const cell of reduction.cells) {
    if (cell.kind !== 'line') throw new Error(`seed ${seed}: no line at ${cell.voltage} V: ${cell.text}`);
    const truth = truthAt(cell.injector + 1, cell.voltage, cell.pressure / 1e3);
    note('dead time', cell.voltage, cell.deadTime, truth.deadTimeMs / 1e3, cell.deadTimeInterval);
    note('slope', cell.voltage, cell.slope, truth.slopeMgPerMs / 1e3);
    if (cell.staticToSlope !== null) note('static / slope', cell.voltage, cell.staticToSlope, truth.staticMgPerS / 1e3 / truth.slopeMgPerMs);
  }
  for (const flow of reduction.staticFlows) {
    if (flow.kind !== 'static-flow') throw new Error(`seed ${seed}: ${flow.text}`);
    note('static flow', 0, flow.flow, truthAt(flow.injector + 1, flow.voltage, flow.pressure / 1e3).staticMgPerS / 1e6);
  }
  const axes = { voltages: tableVoltages, pressures: tablePressuresKpa.map((p) => p * 1e3) };
  const deadTimes = mapTables(reduction, 'dead-time', axes);
  const slopes = mapTables(reduction, 'slope', axes);
  const short = shortPulseTables(reduction, tableWidthsMs.map((w) => w / 1e3));
  plan.injectors.forEach(({ channel }, injector) => {
    tableVoltages.forEach((voltage, row) => {
      tablePressuresKpa.forEach((pressure, column) => {
        const truth = truthAt(channel, voltage, pressure);
        note('table: dead time', voltage, cellAt(deadTimes[injector], row, column).result, truth.deadTimeMs / 1e3);
        note('table: slope', voltage, cellAt(slopes[injector], row, column).result, truth.slopeMgPerMs / 1e3);
      });
    });
    const table = short.find((t) => t.of === `C-${channel}` && t.at === '300 kPa');
    plan.axes.voltageV.forEach((voltage, row) => {
      const line = truthAt(channel, voltage, 300);
      const { massesMg } = truthOf(scenario, { channel, voltageV: voltage, pressureKpa: 300, widthsMs: tableWidthsMs, periodMs: 20, referenceC: plan.reduction.referenceC });
      tableWidthsMs.forEach((width, column) => {
        const truth = (massesMg[column] ?? Number.NaN) - line.slopeMgPerMs * (width - line.deadTimeMs);
        const { result, basis } = cellAt(table, row, column);
        // In the region the correction is 0 by definition.
        if (result.value === 0) return;
        note(basis === 'unresolved' ? 'unresolved short pulse' : 'table: short pulse', voltage, result, truth / 1e6);
      });
    });
  });
  return outcomes;
}

/** What the whole must keep, and what each voltage must keep so that no average hides a bad corner. */
const whole = { low: 0.93, high: 0.97 };
const corner = { low: 0.9, high: 0.99, values: 200 };
/** Printed and not judged: what the table itself says it cannot tell. */
const notJudged: readonly Quantity[] = ['unresolved short pulse'];

/** Prints shares by quantity and voltage; true when every quantity keeps 93 to 97 %, and every voltage with 200 values 90 to 99 %. */
export async function showCharacterisations([count = '500', first = '5001']: readonly string[]): Promise<boolean> {
  const seeds = Array.from({ length: Number(count) }, (_, i) => Number(first) + i);
  const outcomes = await onAllCores<Outcome>(import.meta.filename, seeds);
  const share = (list: readonly Outcome[]): number => list.filter((o) => o.inside).length / list.length;
  const write = (label: string, list: readonly Outcome[]): void => {
    const mean = list.reduce((sum, o) => sum + o.z, 0) / list.length;
    const root = Math.sqrt(list.reduce((sum, o) => sum + o.z * o.z, 0) / list.length);
    process.stdout.write(`${label.padEnd(28)}${String(list.length).padStart(8)}${`${(100 * share(list)).toFixed(1)} %`.padStart(10)}${mean.toFixed(2).padStart(10)}${root.toFixed(2).padStart(8)}\n`);
  };
  process.stdout.write(`Share of stated 95 % intervals that hold the truth, ${seeds.length} characterisations of two injectors (z: mean, root mean square)\n`);
  process.stdout.write(`${''.padEnd(28)}${'values'.padStart(8)}${'inside'.padStart(10)}${'z mean'.padStart(10)}${'rms'.padStart(8)}\n`);
  let holds = true;
  for (const quantity of [...new Set(outcomes.map((o) => o.quantity))]) {
    const all = outcomes.filter((o) => o.quantity === quantity);
    write(quantity, all);
    const judged = !notJudged.includes(quantity);
    if (judged) holds &&= share(all) >= whole.low && share(all) <= whole.high;
    for (const voltage of [...new Set(all.map((o) => o.voltage))].filter((v) => v > 0).sort((a, b) => a - b)) {
      const here = all.filter((o) => o.voltage === voltage);
      write(`  ${voltage} V`, here);
      // Few values tell little of a share.
      if (judged && here.length >= corner.values) holds &&= share(here) >= corner.low && share(here) <= corner.high;
    }
  }
  return holds;
}

answerPieces(import.meta.filename, characterise);
