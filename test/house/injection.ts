/**
 * From bench to engine: does a controller that loads the exported tables inject what it means to? A run on the simulated bench is reduced, its tables are written as
 * calibration data (ASAM CDF 2.0) and read back from that file alone; a simulated controller looks widths up in them for masses that it is asked for, at voltages, pressures and
 * masses drawn over their axes, and the simulated injector, without noise and instruments, tells what it delivers. TAB-21.
 */
import { XMLParser } from 'fast-xml-parser';
import { controllerDocument, controllerTables } from '../../app/handover/build.ts';
import type { ControllerAxis, ControllerTable } from '../../app/handover/document.ts';
import { parseLayout } from '../../app/handover/layout.ts';
import type { ControllerLayout } from '../../app/handover/layout.ts';
import { lookUp } from '../../app/handover/lookup.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { truthOf } from '../../firmware-protocol/simulator/truth.ts';
import { cdfFile } from '../../main/handover/cdf.ts';
import { answerPieces, onAllCores } from '../builders/all-cores.ts';
import { reduction, runInProcess, samplePlan, scenario } from '../builders/in-process.ts';

/** One injection: what was wanted and delivered, mg, and the expanded uncertainty of the tables there: of their numbers, and with what linear interpolation between breakpoints adds. */
export interface Injection {
  readonly seed: number;
  readonly at: 'breakpoint' | 'between';
  readonly voltage: number;
  readonly pressure: number;
  readonly wanted: number;
  readonly delivered: number;
  readonly stated: number;
  readonly withBetween: number;
  /** Which street it came by. */
  readonly street: StreetName;
  /** Whether the short-pulse correction has a part in it, and whether that is told where the curve turns between the measured widths (`unresolved`): its U holds at those alone. */
  readonly short: 'no' | 'resolved' | 'unresolved';
}

/** whole: voltage, pressure and mass over all of their range. short: masses that need pulses below the linear region. */
type StreetName = 'whole' | 'short';

export interface StreetOptions {
  readonly seed: number;
  readonly injections: number;
  readonly name?: StreetName;
  /** Done to the plan of the street, to make it smaller. */
  readonly change?: (plan: Plan) => Plan;
  /** What somebody does to the file on the way; absent: nothing. */
  readonly spoil?: (xml: string) => string;
}

interface Street {
  readonly plan: (plan: Plan) => Plan;
  /** Like those of a controller: even steps, not those of the bench. */
  readonly voltagesV: readonly number[];
  readonly massesMg: readonly number[];
}

const streets: Readonly<Record<StreetName, Street>> = {
  whole: {
    plan: (plan) => ({ ...plan, injectors: plan.injectors.slice(0, 2), axes: { ...plan.axes, pressureKpa: [300, 380, 460], replicates: 2 } }),
    voltagesV: [9, 10, 11, 12, 13, 14, 15, 16],
    massesMg: [6, 7, 8, 10, 12, 16, 24, 36],
  },
  short: {
    plan: (plan) => ({ ...plan, injectors: plan.injectors.slice(0, 2), axes: { ...plan.axes, voltageV: [12, 13, 14, 16], widthMs: [1.25, 1.35, 1.45, 1.6, 1.8, 2, 2.2, 2.5, 3, 4, 6, 8], replicates: 2 } }),
    voltagesV: [12, 13, 14, 15, 16],
    massesMg: [3.4, 3.7, 4, 4.5, 5, 6, 8, 12],
  },
};

function layoutFor({ voltagesV, massesMg }: Street, pressuresKpa: readonly number[]): ControllerLayout {
  const parsed = parseLayout({
    layoutVersion: 1, name: 'Simulated controller', axes: { voltagesV, massesMg, pressuresKpa }, deadTime: { unit: 'us', resolution: 1 }, flow: { unit: 'mg/ms', resolution: 0.001 },
    shortPulse: { as: 'us', over: 'mass', resolution: 1 },
  });
  if (!parsed.ok) throw new Error(JSON.stringify(parsed.problems));
  return parsed.layout;
}

/** Widths at which pulses are asked for, in an interval that no table bends. */
const timerStep = 1e-3;

interface Loaded {
  /** By name: dead time, us; slope, mg/ms; short-pulse correction, us; and the same names with `_U95`. */
  readonly tables: ReadonlyMap<string, Pick<ControllerTable, 'axes' | 'cells'>>;
}

interface RawAxisNode { readonly 'SW-VALUES-PHYS': { readonly V: readonly string[] } }
interface RawInstance {
  readonly 'SHORT-NAME': string;
  readonly 'SW-VALUE-CONT': { readonly 'SW-VALUES-PHYS': { readonly V?: readonly string[]; readonly VG?: readonly { readonly V: readonly string[] }[] } };
  readonly 'SW-AXIS-CONTS'?: { readonly 'SW-AXIS-CONT': readonly RawAxisNode[] };
}

/** The controller's own reader: a calibration file and nothing else. */
export function loadCalibration(xml: string): Loaded {
  const parser = new XMLParser({ parseTagValue: false, isArray: (name) => ['SW-INSTANCE', 'SW-AXIS-CONT', 'V', 'VG'].includes(name) });
  const file = parser.parse(xml) as { readonly MSRSW: { readonly 'SW-SYSTEMS': { readonly 'SW-SYSTEM': { readonly 'SW-INSTANCE-SPEC': { readonly 'SW-INSTANCE-TREE': { readonly 'SW-INSTANCE': readonly RawInstance[] } } } } } };
  const instances = file.MSRSW['SW-SYSTEMS']['SW-SYSTEM']['SW-INSTANCE-SPEC']['SW-INSTANCE-TREE']['SW-INSTANCE'];
  return {
    tables: new Map(instances.map((instance) => {
      const { V, VG } = instance['SW-VALUE-CONT']['SW-VALUES-PHYS'];
      const values = (VG === undefined ? (V ?? []) : VG.flatMap((g) => g.V)).map(Number);
      const axes = (instance['SW-AXIS-CONTS']?.['SW-AXIS-CONT'] ?? []).map((axis): ControllerAxis => ({ name: 'battery voltage', unit: 'V', values: axis['SW-VALUES-PHYS'].V.map(Number) }));
      return [instance['SHORT-NAME'], { axes, cells: values.map((value) => ({ value, unrounded: value, U95: 0, k: 2, dof: null, basis: 'measured' as const })) }];
    })),
  };
}

/** Draws in 0 to 1, the same for a seed for ever (mulberry32). */
function drawsFrom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 2 ** 32;
  };
}

/** Runs the street once. */
export async function street({ seed, injections, name = 'whole', change = (plan) => plan, spoil = (xml) => xml }: StreetOptions): Promise<readonly Injection[]> {
  const { voltagesV, massesMg, plan: planOf } = streets[name];
  const plan = samplePlan('plan', (sample) => change(planOf(sample)));
  const bench: Scenario = scenario({ seed });
  const { state, rest } = await runInProcess({ plan, scenario: bench });
  if (rest.kind !== 'resting' || rest.mode !== 'ended') throw new Error(`seed ${seed}: the sweep did not end`);
  const pressures = [...plan.axes.pressureKpa];
  const layout = layoutFor(streets[name], pressures);
  const built = controllerTables({ plan, equipment: state.equipment, reduction: reduction(state), layout });
  if (!built.ok) throw new Error(built.text);
  const document = controllerDocument({ software: 'test', run: { id: 'x', order: '', beganUtc: '', archiveId: 'x', archiveHead: 'x' }, notTraceable: [], layout, tables: built.tables });
  const { xml, leftOut } = cdfFile(document);
  if (leftOut.length > 0) throw new Error(leftOut.join('\n'));
  const { tables } = loadCalibration(spoil(xml));
  const draw = drawsFrom(seed);
  const pick = (list: readonly number[]): number => list[Math.floor(draw() * list.length)] ?? 0;
  const along = (list: readonly number[]): number => (list[0] ?? 0) + draw() * ((list.at(-1) ?? 0) - (list[0] ?? 0));
  const periodMs = plan.axes.periodMs[0] ?? 20;

  return Array.from({ length: injections }, (_, n): Injection => {
    const injector = plan.injectors[n % plan.injectors.length];
    if (injector === undefined) throw new Error('no injector');
    const at = n % 4 < 2 ? ('breakpoint' as const) : ('between' as const);
    const choose = at === 'breakpoint' ? pick : along;
    // At breakpoints of what was measured: voltages of the bench that are breakpoints too.
    const voltage = at === 'breakpoint' ? pick(plan.axes.voltageV.filter((v) => voltagesV.includes(v))) : choose(voltagesV);
    const pressure = pressures.length > 1 ? choose(pressures) : (pressures[0] ?? 0);
    const wanted = choose(massesMg);
    const known = document.tables.filter((t) => t.of === injector.serialNumber);
    const nearest = (a: ControllerTable, b: ControllerTable): number => Math.abs(pressureOf(a) - pressure) - Math.abs(pressureOf(b) - pressure);
    const own = (quantity: ControllerTable['quantity']): ControllerTable => {
      const table = known.filter((t) => t.quantity === quantity).toSorted(nearest)[0];
      if (table === undefined) throw new Error(`no ${quantity} of ${injector.serialNumber}`);
      return table;
    };
    const read = (id: string, place: readonly number[]): number => {
      const table = tables.get(id);
      const value = table === undefined ? null : lookUp(table, place.slice(0, table.axes.length));
      if (value === null) throw new Error(`no value of ${id}`);
      return value;
    };
    const [deadTime, slope, short] = [own('dead-time'), own('slope'), own('short-pulse-correction')];
    const [over, overMass] = [[voltage, pressure], [voltage, wanted]];
    const m = read(slope.id, over);
    const added = read(short.id, overMass);
    const widthMs = Math.round((read(deadTime.id, over) / 1e3 + wanted / m + added / 1e3) / timerStep) * timerStep;
    const truth = truthOf(bench, { channel: injector.channel, voltageV: voltage, pressureKpa: pressure, widthsMs: [widthMs, widthMs + 1], periodMs, referenceC: plan.reduction.referenceC });
    // First order: the width is off by the dead time and the correction, and by what an error of the slope makes of the mass. Taken as independent.
    const parts = [(read(`${deadTime.id}_U95`, over) / 1e3) * m, (read(`${slope.id}_U95`, over) / m) * wanted, (read(`${short.id}_U95`, overMass) / 1e3) * m];
    // What linear interpolation adds at most is of one sign, and so added as it is (JCGM 100:2008, F.2.4.5).
    const bounds = [((deadTime.betweenBreakpoints?.most ?? 0) / 1e3) * m, ((slope.betweenBreakpoints?.most ?? 0) / m) * wanted, ((short.betweenBreakpoints?.most ?? 0) / 1e3) * m];
    return { seed, at, voltage, pressure, wanted, delivered: truth.massesMg[0] ?? Number.NaN, stated: Math.hypot(...parts), withBetween: Math.hypot(...parts) + bounds.reduce((sum, b) => sum + b, 0), street: name, short: Math.abs(added) <= 1 ? 'no' : (lookUp(short, overMass, (cell) => ('basis' in cell && cell.basis === 'unresolved' ? 1 : 0)) ?? 0) > 0 ? 'unresolved' : 'resolved' };
  });
}

const pressureOf = (table: ControllerTable): number => table.conditions.find((c) => c.name === 'differential pressure')?.value ?? 0;

const inside = (i: Injection): boolean => Math.abs(i.delivered - i.wanted) <= (i.at === 'breakpoint' ? i.stated : i.withBetween);

export interface StreetSummary {
  readonly injections: number;
  /** Parts of 1. */
  readonly withinU: number;
  readonly meanPercent: number;
  readonly rmsPercent: number;
  readonly worstPercent: number;
  /** Error over U: root mean square, and largest. */
  readonly rmsOfU: number;
  readonly worstOfU: number;
  /** U over the mass, root mean square, percent. */
  readonly statedPercent: number;
}

export function summaryOf(list: readonly Injection[]): StreetSummary {
  const errors = list.map((i) => (100 * (i.delivered - i.wanted)) / i.wanted);
  const ofU = list.map((i) => (i.delivered - i.wanted) / (i.at === 'breakpoint' ? i.stated : i.withBetween));
  const rms = (values: readonly number[]): number => Math.sqrt(values.reduce((sum, v) => sum + v * v, 0) / values.length);
  const most = (values: readonly number[]): number => Math.max(...values.map(Math.abs));
  return {
    injections: list.length, withinU: list.filter(inside).length / list.length, meanPercent: errors.reduce((sum, v) => sum + v, 0) / errors.length, rmsPercent: rms(errors), worstPercent: most(errors),
    rmsOfU: rms(ofU), worstOfU: most(ofU), statedPercent: rms(list.map((i) => (100 * (i.at === 'breakpoint' ? i.stated : i.withBetween)) / i.wanted)),
  };
}

const injectionsPerSeed = 400;
/** Added to the seed of a piece of work that is the street of small masses. */
const shortStreet = 1_000_000;

/** `npm run show -- injection [SEEDS] [FIRST]`: true when at least 90 % of the injections lie within what the tables state, at breakpoints and between them; what the tables mark as unresolved is printed and does not count. */
export async function showInjection(args: readonly string[]): Promise<boolean> {
  const [count = '4', first = '1'] = args;
  const seeds = Array.from({ length: Number(count) }, (_, i) => Number(first) + i);
  const every = await onAllCores<Injection>(import.meta.filename, seeds.flatMap((seed) => [seed, seed + shortStreet]));
  const all = every.filter((i) => i.street === 'whole');
  process.stdout.write(`Injections by a controller that loaded the calibration data of ${seeds.length} benches (2 injectors each): mass delivered less mass wanted, and what the tables state: U (95 %), between breakpoints with what linear interpolation adds at most\n`);
  process.stdout.write(`${''.padEnd(34)}number  within U   mean %    rms %  worst %   U rms %   error/U rms, worst\n`);
  const row = (label: string, list: readonly Injection[]): void => {
    if (list.length === 0) return;
    const s = summaryOf(list);
    const f = (v: number, digits = 3): string => v.toFixed(digits).padStart(9);
    process.stdout.write(`${label.padEnd(34)}${String(s.injections).padStart(6)}${`${(100 * s.withinU).toFixed(1)} %`.padStart(10)}${f(s.meanPercent)}${f(s.rmsPercent)}${f(s.worstPercent)}${f(s.statedPercent).padStart(10)}${f(s.rmsOfU, 2)}${f(s.worstOfU, 2)}\n`);
  };
  row('at breakpoints, measured voltages', all.filter((i) => i.at === 'breakpoint'));
  row('between breakpoints', all.filter((i) => i.at === 'between'));
  for (const [low, high] of [[9, 11], [11, 14], [14, 16.1]] as const) row(`${low} to ${Math.floor(high)} V`, all.filter((i) => i.voltage >= low && i.voltage < high));
  for (const [low, high] of [[300, 350], [350, 410], [410, 461]] as const) row(`${low} to ${Math.min(high, 460)} kPa`, all.filter((i) => i.pressure >= low && i.pressure < high));
  for (const [low, high] of [[6, 10], [10, 20], [20, 37]] as const) row(`${low} to ${Math.min(high, 36)} mg`, all.filter((i) => i.wanted >= low && i.wanted < high));
  row('all', all);
  const short = every.filter((i) => i.street === 'short');
  process.stdout.write('Small masses, 12 to 16 V, 400 kPa, pulses from 1.25 ms\n');
  for (const at of ['breakpoint', 'between'] as const) {
    const where = at === 'breakpoint' ? 'at breakpoints' : 'between';
    row(`linear region, ${where}`, short.filter((i) => i.at === at && i.short === 'no'));
    row(`short pulses, ${where}`, short.filter((i) => i.at === at && i.short === 'resolved'));
    row(`unresolved, ${where}`, short.filter((i) => i.at === at && i.short === 'unresolved'));
  }
  const told = every.filter((i) => i.short !== 'unresolved');
  return (['breakpoint', 'between'] as const).every((at) => summaryOf(told.filter((i) => i.at === at)).withinU >= 0.9);
}

answerPieces(import.meta.filename, async (piece) => [...(await street({ seed: piece % shortStreet, injections: injectionsPerSeed, name: piece >= shortStreet ? 'short' : 'whole' }))]);
