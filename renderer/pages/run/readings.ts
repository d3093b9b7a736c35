/** What an attempt found, as rows to read: each value beside what the plan allows. */
import { allowedShown } from '../../components/criterion-shown.ts';
import { decimals } from '../../components/decimals.ts';
import { decimalsShown, shownIn, unitShown } from '../../settings/quantities.ts';
import { spreadOf, toShown, windowSignals } from '../../../app/bench/readings.ts';
import type { BenchCapabilities } from '../../../app/bench/port.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { plusMinusShown as plusMinus } from '../../components/figures.ts';
import { toKilopascals } from '../../../app/quantities/quantity.ts';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import type { LeakBlock } from '../../../app/reduce/leak-block.ts';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import type { HeldQuantity } from '../../../app/run/criterion.ts';
import { judge } from '../../../app/run/judge.ts';
import type { WindowSummary } from '../../../app/journal/measured.ts';
import type { Units } from '../../settings/units.ts';

export interface ReadingRow {
  readonly label: string;
  /** Value with unit. */
  readonly value: string;
  /** What the plan asks for; empty: it asks for nothing here. */
  readonly allowed: string;
}

const noBreak = (number: string, unit: string) => decimals(`${number}\u00a0${unit}`);

const measured = (unit: string, value: number, digits: number, difference = false): string => noBreak(shownIn(unit, value, difference).toFixed(decimalsShown(unit, digits)), unitShown(unit));

/** What the reading of a window needs beside it. `leak`: what leaked past the injector at that time; null: nobody looked. */
export interface ReadingContext {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly leak: LeakBlock | null;
  /** Of the bench that measured it; null: not known. */
  readonly capabilities: Pick<BenchCapabilities, 'timerResolution'> | null;
  /** Made for the density of this fluid. */
  readonly units: Units;
}

/**
 * Mass per pulse of a window with its expanded uncertainty, or why there is none: the same number and the same U95, by the
 * effective degrees of freedom, as on the page Results (WIN-17).
 */
export function massText(point: Point, window: WindowSummary, { plan, equipment, leak, units }: ReadingContext): string {
  const result = massPerPulse(point, window, equipment, plan.reduction, leak);
  if (result.kind === 'no-mass') return result.text;
  const shown = units.pulse(result.mass, point.period);
  if (shown === null) return units.statement;
  const expanded = (budgetTable(result, equipment).mass.expanded / result.mass) * shown;
  return noBreak(plusMinus(shown, expanded), units.pulseUnit);
}

export function readingsOf(point: Point, window: WindowSummary, context: ReadingContext): readonly ReadingRow[] {
  const { plan, equipment, leak, units, capabilities } = context;
  // Held against them as the engine holds it, so that an attempt of an earlier version has them too.
  const limits = new Map(capabilities === null ? [] : judge(window, point, plan, capabilities).criteria.map((criterion) => [criterion.quantity, allowedShown(criterion)]));
  const allowed = (quantity: HeldQuantity): string => decimals(limits.get(quantity) ?? '');
  const result = massPerPulse(point, window, equipment, plan.reduction, leak);
  const flow = result.kind === 'mass' ? units.flow(result.measured / point.period) : null;
  const seconds = window.to - window.from;
  const edgeSeconds = window.lastEdgeAt - window.firstEdgeAt;
  return [
    { label: 'Mass per pulse, corrected, ± U95', value: massText(point, window, context), allowed: '' },
    { label: 'Flow as measured', value: flow === null ? 'not known' : noBreak(flow.toPrecision(5), units.flowUnit), allowed: '' },
    {
      label: 'Rail pressure, mean',
      value: measured('kPa', toKilopascals(window.pressure.mean), 2),
      allowed: allowed('pressure'),
    },
    { label: 'Rail pressure, scatter (s)', value: measured('kPa', window.pressure.sd / 1e3, 2, true), allowed: allowed('pressureScatter') },
    { label: 'Supply, mean', value: noBreak(window.supply.mean.toFixed(3), 'V'), allowed: allowed('supply') },
    { label: 'Supply, scatter (s)', value: noBreak((window.supply.sd * 1e3).toFixed(1), 'mV'), allowed: '' },
    ...windowSignals.flatMap((signal) => {
      const of = spreadOf(window, signal.id);
      if (of === undefined || signal.id === 'pressure' || signal.id === 'supply') return [];
      return [{ label: `${signal.label}, mean`, value: measured(signal.shown, toShown(signal, of.mean), signal.digits + 1), allowed: allowed(signal.id) }];
    }),
    { label: 'Meter edges', value: String(window.edges), allowed: allowed('edges') },
    { label: 'Edge rate', value: edgeSeconds > 0 ? noBreak((window.edges / edgeSeconds).toFixed(2), 'Hz') : 'not known', allowed: '' },
    { label: 'Window', value: noBreak(seconds.toFixed(2), 's'), allowed: allowed('length') },
    { label: 'Pulses counted', value: String(window.pulses), allowed: allowed('pulses') },
    {
      label: 'Frames missing',
      value: `${window.missingFrames} of ${window.frames + window.missingFrames}`,
      allowed: allowed('missingFrames'),
    },
  ];
}
