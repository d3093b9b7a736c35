/** What an attempt found, as rows to read: each value beside what the plan allows. */
import { spreadOf, toShown, windowSignals } from '../../../app/bench/readings.ts';
import type { Equipment } from '../../../app/equipment/equipment.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { pairEdges, zeroWindow } from '../../../app/plan/zero.ts';
import { plusMinus } from '../../../app/quantities/figures.ts';
import { toKilopascals } from '../../../app/quantities/quantity.ts';
import { budgetTable } from '../../../app/reduce/budget-table.ts';
import type { LeakBlock } from '../../../app/reduce/leak-block.ts';
import { massPerPulse } from '../../../app/reduce/mass.ts';
import type { WindowSummary } from '../../../app/journal/measured.ts';
import type { Units } from '../../settings/units.ts';
import { plainNumber } from './sheets.ts';

export interface Reading {
  readonly label: string;
  /** Value with unit. */
  readonly value: string;
  /** What the plan asks for; empty: it asks for nothing here. */
  readonly allowed: string;
}

const noBreak = (number: string, unit: string) => `${number}\u00a0${unit}`;

/** What the reading of a window needs beside it. `leak`: what leaked past the injector at that time; null: nobody looked. */
export interface ReadingContext {
  readonly plan: Plan;
  readonly equipment: Equipment;
  readonly leak: LeakBlock | null;
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

export function readingsOf(point: Point, window: WindowSummary, context: ReadingContext): readonly Reading[] {
  const { plan, equipment, leak, units } = context;
  const { accept } = plan;
  const zero = point.role === 'zero';
  const result = massPerPulse(point, window, equipment, plan.reduction, leak);
  const flow = result.kind === 'mass' ? units.flow(result.measured / point.period) : null;
  const temperatures = `${plainNumber(accept.temperatureMinC)} to ${plainNumber(accept.temperatureMaxC)}\u00a0°C`;
  const seconds = window.to - window.from;
  const edgeSeconds = window.lastEdgeAt - window.firstEdgeAt;
  return [
    { label: 'Mass per pulse, corrected, ± U95', value: massText(point, window, context), allowed: '' },
    { label: 'Flow as measured', value: flow === null ? 'not known' : noBreak(flow.toPrecision(5), units.flowUnit), allowed: '' },
    {
      label: 'Rail pressure, mean',
      value: noBreak(toKilopascals(window.pressure.mean).toFixed(2), 'kPa'),
      allowed: `${plainNumber(toKilopascals(point.pressure))} ±\u00a0${plainNumber(accept.pressureKpa)}\u00a0kPa`,
    },
    { label: 'Rail pressure, scatter (s)', value: noBreak((window.pressure.sd / 1e3).toFixed(2), 'kPa'), allowed: `at most ${plainNumber(accept.pressureSdKpa)}\u00a0kPa` },
    { label: 'Supply, mean', value: noBreak(window.supply.mean.toFixed(3), 'V'), allowed: `${plainNumber(point.voltage)} ±\u00a0${plainNumber(accept.supplyV)}\u00a0V` },
    { label: 'Supply, scatter (s)', value: noBreak((window.supply.sd * 1e3).toFixed(1), 'mV'), allowed: '' },
    ...windowSignals.flatMap((signal) => {
      const of = spreadOf(window, signal.id);
      if (of === undefined || signal.id === 'pressure' || signal.id === 'supply') return [];
      return [{ label: `${signal.label}, mean`, value: noBreak(toShown(signal, of.mean).toFixed(signal.digits + 1), signal.shown), allowed: signal.band === 'temperature' ? temperatures : '' }];
    }),
    { label: 'Meter edges', value: String(window.edges), allowed: zero ? '' : `at least ${pairEdges(plan.window.minEdges, point.role)}` },
    { label: 'Edge rate', value: edgeSeconds > 0 ? noBreak((window.edges / edgeSeconds).toFixed(2), 'Hz') : 'not known', allowed: '' },
    { label: 'Window', value: noBreak(seconds.toFixed(2), 's'), allowed: `at least ${plainNumber(zero ? zeroWindow(plan) : plan.window.minS)} s` },
    { label: 'Pulses counted', value: String(window.pulses), allowed: zero ? 'none' : `about ${(seconds / point.period).toFixed(0)}` },
    {
      label: 'Frames missing',
      value: `${window.missingFrames} of ${window.frames + window.missingFrames}`,
      allowed: `at most ${plainNumber(accept.missingFramesPercent)} %`,
    },
  ];
}
