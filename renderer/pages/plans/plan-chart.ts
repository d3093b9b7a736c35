/** What the chart of a plan's points shows: a stretch of the sequence, short enough to see every point in it. */
import { hasLook } from '../../../app/plan/look.ts';
import { shownPoint } from '../../../app/plan/points.ts';
import type { Plan } from '../../../app/plan/plan.ts';
import type { Point } from '../../../app/plan/points.ts';
import { toKilopascals, toMilliseconds } from '../../../app/quantities/quantity.ts';

/** Points that one chart shows; also what a still chart can carry without slowing the window. */
export const mostShown = 300;

export interface ShownPoint {
  /** Place in the sequence as people count it: from 1. */
  readonly number: number;
  readonly role: Point['role'];
  readonly serialNumber: string;
  readonly channel: number;
  readonly voltageV: number;
  readonly pressureKpa: number;
  readonly widthMs: number;
  readonly periodMs: number;
  /** From 1. */
  readonly replicate: number;
}

/** Stretch of the sequence in which one value holds: first and last number, both included. */
export interface Stretch {
  readonly from: number;
  readonly to: number;
  readonly value: number;
}

export interface ChartPage {
  readonly points: readonly ShownPoint[];
  readonly voltage: readonly Stretch[];
  readonly pressure: readonly Stretch[];
  /** Axis of the widths: from 0 to a round number above the widest of the whole plan, static flow included. */
  readonly topWidthMs: number;
  readonly widthTicks: readonly number[];
}

export function pagesOf(points: number): number {
  return Math.max(1, Math.ceil(points / mostShown));
}

/** Page `page` (from 0) of the sequence. */
export function chartPage(plan: Plan, points: readonly Point[], page: number): ChartPage {
  const shown = points.slice(page * mostShown, (page + 1) * mostShown).map((point): ShownPoint => ({
    number: shownPoint(point.index),
    role: point.role,
    serialNumber: point.role === 'zero' ? 'all shut' : (plan.injectors[point.injector]?.serialNumber ?? ''),
    channel: point.channel,
    // Through the decimal form: 2.2 ms are 0.0022000000000000001 s and back.
    voltageV: short(point.voltage),
    pressureKpa: short(toKilopascals(point.pressure)),
    widthMs: short(toMilliseconds(point.width)),
    periodMs: short(toMilliseconds(point.period)),
    replicate: point.replicate + 1,
  }));
  const widest = Math.max(...plan.axes.widthMs, plan.reference?.widthMs ?? 0, plan.static.replicates > 0 ? plan.static.periodMs : 0, hasLook(plan) ? plan.look.periodMs : 0);
  const ticks = ticksTo(widest);
  return {
    points: shown,
    voltage: stretches(shown, ({ voltageV }) => voltageV),
    pressure: stretches(shown, ({ pressureKpa }) => pressureKpa),
    topWidthMs: ticks.at(-1) ?? 1,
    widthTicks: ticks,
  };
}

function short(value: number): number {
  return Number(value.toPrecision(12));
}

/** Neighbours of one value together. */
export function stretches(points: readonly ShownPoint[], of: (point: ShownPoint) => number): readonly Stretch[] {
  const found: { from: number; to: number; value: number }[] = [];
  for (const point of points) {
    const last = found.at(-1);
    if (last?.value === of(point)) last.to = point.number;
    else found.push({ from: point.number, to: point.number, value: of(point) });
  }
  return found;
}

/** Two to six round steps from 0 that reach `top`. */
export function ticksTo(top: number): readonly number[] {
  if (!(top > 0) || !Number.isFinite(top)) return [0, 1];
  const rough = top / 5;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = ([1, 2, 5, 10].find((m) => m * power >= rough) ?? 10) * power;
  const count = Math.ceil(top / step - 1e-9);
  return Array.from({ length: count + 1 }, (_, i) => short(i * step));
}

/** A volume of fluid with three significant digits. */
export function fluidText(ml: number): string {
  if (!Number.isFinite(ml)) return '–';
  return ml < 1000 ? `${Number(ml.toPrecision(3))} mL` : `${Number((ml / 1000).toPrecision(3))} L`;
}
