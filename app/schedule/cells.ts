/** What the schedule works on: the cells that a plan with targets wants, and what has been tried of each. */
import { typeOfInjector } from '../reduce/cell.ts';
import type { LineCell, NoLineCell, Reduction, ReductionInput, ScatterModel } from '../reduce/reduction.ts';
import type { Plan } from '../plan/plan.ts';
import { wantedUs } from '../plan/wanted.ts';
import type { Point } from '../plan/points.ts';
import { kilopascals, milliseconds, volts } from '../quantities/quantity.ts';
import type { Pascals, Seconds, Volts } from '../quantities/quantity.ts';

export type Targets = NonNullable<Plan['targets']>;

/** What earlier runs told of a type of injector. */
export type KnownType = Targets['known'][number];

/** What a decision is made from: what counts so far, and the injectors that are measured no further. */
export interface SoFar extends ReductionInput {
  readonly out: ReadonlySet<number>;
}

/** What is wanted of one injector at one voltage. */
export interface WantedCell {
  readonly injector: number;
  readonly serialNumber: string;
  readonly type: string;
  readonly voltage: Volts;
  /** U95 of the dead time that is wanted, s; infinite: as it comes. */
  readonly wanted: Seconds;
  /** Points by width, s, whatever became of them; of windows that count; and seconds that one took, mean. */
  readonly tried: ReadonlyMap<number, number>;
  readonly counted: ReadonlyMap<number, number>;
  readonly seconds: ReadonlyMap<number, number>;
  /** Of those that count, by width: windows that the reduction takes for less than half, or that contradict their only repeat. RED-81 */
  readonly light: ReadonlyMap<number, number>;
  readonly points: number;
  /** null: nothing is known of it yet. */
  readonly found: LineCell | NoLineCell | null;
}

/** All cells of one pressure and period, in the order of the plan: voltage, then injector. */
export interface Block {
  readonly pressure: Pascals;
  readonly period: Seconds;
  /** Longest first, s. */
  readonly places: readonly Seconds[];
  /** What the plan says of types at this pressure, by their names. SCH-12 */
  readonly known: ReadonlyMap<string, KnownType>;
  /** How windows scatter, as found; null: nothing was measured. */
  readonly scatter: ScatterModel | null;
  /** By how much slopes differ over voltages, relative, by type, as found (RED-23): those of one injector, and what all have in common at a voltage; absent: they are parallel. */
  readonly spread: ReadonlyMap<string, { readonly own: number; readonly common: number }>;
  readonly cells: readonly WantedCell[];
}

/** U95 of the dead time that a plan wants at a voltage, s; infinite: as it comes. */
const wantedAt = (targets: Targets, voltageV: number): Seconds => ((wantedUs(targets, voltageV) ?? (weighsAlike(targets) ? 1 : Number.POSITIVE_INFINITY)) * 1e-6) as Seconds;

/** Whether all hours are spent and nothing says how cells compare: every measured dead time weighs the same. PLAN-105 */
export const weighsAlike = ({ spend, deadTimeUs, atVoltage, slopePercent, map }: Targets): boolean => spend === 'all-hours' && deadTimeUs === undefined && atVoltage.length === 0 && slopePercent === undefined && map === undefined;

/** A cell's name among those of its block. */
export const cellName = ({ injector, voltage }: { readonly injector: number; readonly voltage: number }): string => `${injector}|${voltage}`;

interface Tally {
  points: number;
  readonly tried: Map<number, number>;
  readonly counted: Map<number, number>;
  readonly seconds: Map<number, number>;
  readonly light: Map<number, number>;
}

/** What was tried of the cells of a pressure and period, by injector and voltage. */
function talliesOf({ points, attempts }: SoFar, light: Reduction['lightWindows'], pressure: Pascals, period: Seconds): (at: Pick<Point, 'injector' | 'voltage'>) => Tally {
  const tallies = new Map<string, Tally>();
  let last: Pick<Point, 'injector' | 'voltage'> | null = null;
  let ofLast: Tally | undefined;
  const tallyOf = (at: Pick<Point, 'injector' | 'voltage'>): Tally => {
    // Points of one cell follow each other.
    if (ofLast !== undefined && last?.injector === at.injector && last.voltage === at.voltage) return ofLast;
    const name = cellName(at);
    let tally = tallies.get(name);
    if (tally === undefined) tallies.set(name, (tally = { points: 0, tried: new Map(), counted: new Map(), seconds: new Map(), light: new Map() }));
    last = at;
    ofLast = tally;
    return tally;
  };
  const isHere = (at: Point): boolean => at.role === 'measure' && at.pressure === pressure && at.period === period;
  for (const at of points) {
    if (!isHere(at)) continue;
    const tally = tallyOf(at);
    tally.points += 1;
    tally.tried.set(at.width, (tally.tried.get(at.width) ?? 0) + 1);
  }
  for (const { point, window } of attempts) {
    const at = points[point];
    if (at === undefined || !isHere(at)) continue;
    const tally = tallyOf(at);
    const before = tally.counted.get(at.width) ?? 0;
    tally.counted.set(at.width, before + 1);
    tally.seconds.set(at.width, ((tally.seconds.get(at.width) ?? 0) * before + window.to - window.from) / (before + 1));
  }
  for (const { point } of light) {
    const at = points[point];
    if (at === undefined || !isHere(at)) continue;
    const tally = tallyOf(at);
    tally.light.set(at.width, (tally.light.get(at.width) ?? 0) + 1);
  }
  return tallyOf;
}

/** The block of a pressure, kPa, and period, ms, of the plan; injectors that are out are not in it. */
export function blockOf(soFar: SoFar, reduction: Reduction | null, pressureKpa: number, periodMs: number): Block {
  const { plan, out } = soFar;
  const { targets } = plan;
  if (targets === undefined) throw new Error('a plan without targets has no schedule');
  const [pressure, period] = [kilopascals(pressureKpa), milliseconds(periodMs)];
  const tallyOf = talliesOf(soFar, reduction?.lightWindows ?? [], pressure, period);
  const found = new Map(reduction === null ? [] : reduction.cells.filter((c) => c.pressure === pressure && c.period === period).map((c) => [cellName(c), c] as const));
  const cells = plan.axes.voltageV.flatMap((voltageV) =>
    plan.injectors.flatMap(({ serialNumber }, injector): readonly WantedCell[] => {
      if (out.has(injector)) return [];
      const voltage = volts(voltageV);
      const tally = tallyOf({ injector, voltage });
      return [{ injector, serialNumber, type: typeOfInjector(plan, { injector }), voltage, wanted: wantedAt(targets, voltageV), found: found.get(cellName({ injector, voltage })) ?? null, ...tally }];
    }),
  );
  const known = new Map(targets.known.flatMap((of) => (of.pressureKpa === pressureKpa ? [[of.type, of] as const] : [])));
  const scatter = reduction?.scatter.find((s) => s.pressure === pressure && s.period === period) ?? null;
  const spread = new Map((reduction?.slopeModels ?? []).flatMap((m) => (m.pressure === pressure && m.period === period && m.spread !== undefined && m.commonSpread !== undefined ? [[m.type, { own: m.spread, common: m.commonSpread }] as const] : [])));
  return { pressure, period, known, scatter, spread, places: plan.axes.widthMs.map((w) => milliseconds(w)).sort((a, b) => b - a), cells };
}

/** What a decision adds of one cell, and why, in words. */
export interface CellWish {
  readonly cell: WantedCell;
  readonly widths: readonly Seconds[];
  readonly rule: string;
  readonly why: string;
}

export const microsecondsText = (s: number): string => `${(s * 1e6).toFixed(1)} us`;
export const millisecondsText = (s: number): string => `${Number((s * 1e3).toFixed(4))} ms`;
