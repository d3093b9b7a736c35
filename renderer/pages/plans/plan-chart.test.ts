import { readFileSync } from 'node:fs';
import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { expandPlan } from '../../../app/plan/expand.ts';
import { planSchema } from '../../../app/plan/plan.ts';
import { chartPage, fluidText, mostShown, pagesOf, stretches, ticksTo } from './plan-chart.ts';

const sample = planSchema.parse(JSON.parse(readFileSync(new URL('../../../main/samples/plan.json', import.meta.url), 'utf8')));
const points = expandPlan(sample);

describe('chart of the points', () => {
  test('the pages hold every point once, in order, with the units of the plan', () => {
    const pages = Array.from({ length: pagesOf(points.length) }, (_, page) => chartPage(sample, points, page));
    expect(pages.flatMap((page) => page.points.map(({ number }) => number))).toEqual(points.map(({ index }) => index + 1));
    for (const page of pages) {
      expect(page.points.length).toBeLessThanOrEqual(mostShown);
      for (const point of page.points) {
        expect(sample.axes.voltageV).toContain(point.voltageV);
        expect(point.role === 'zero' ? [0] : point.role === 'look' ? [20, 4, 9] : sample.axes.widthMs).toContain(point.widthMs);
        expect(point.role === 'invariance' ? [400, 408, 392] : [400]).toContain(point.pressureKpa);
        expect(point.widthMs).toBeLessThanOrEqual(page.topWidthMs);
      }
    }
  });

  test('the sample begins with the first look, a zero point and its reference point, and shows a reference point after each 96', () => {
    const shown = chartPage(sample, points, 0).points;
    expect(shown.flatMap(({ role, number }) => (role === 'reference' ? [number] : []))).toEqual([26, 125, 224]);
    expect(shown[0]).toMatchObject({ role: 'look', serialNumber: 'RH4-0117', voltageV: 16, widthMs: 20, periodMs: 20, replicate: 1 });
    expect(shown[24]).toMatchObject({ role: 'zero', serialNumber: 'all shut', channel: 0, voltageV: 9, widthMs: 0, replicate: 1 });
    expect(shown[25]).toMatchObject({ serialNumber: 'RH4-0117', channel: 1, voltageV: 14, widthMs: 5, replicate: 1 });
  });

  test('stretches cover the page without a gap', () => {
    const { points: shown, voltage } = chartPage(sample, points, 1);
    expect(voltage[0]?.from).toBe(mostShown + 1);
    expect(voltage.at(-1)?.to).toBe(2 * mostShown);
    for (const [i, stretch] of voltage.entries()) expect(stretch.from).toBe(i === 0 ? mostShown + 1 : (voltage[i - 1]?.to ?? 0) + 1);
    expect(stretches(shown, () => 3)).toEqual([{ from: 301, to: 600, value: 3 }]);
  });

  test('ticks are round, few, and reach the top', () => {
    expect(ticksTo(12)).toEqual([0, 5, 10, 15]);
    expect(ticksTo(0.6)).toEqual([0, 0.2, 0.4, 0.6]);
    fc.assert(
      fc.property(fc.double({ min: 1e-6, max: 1e6, noNaN: true }), (top) => {
        const ticks = ticksTo(top);
        expect(ticks.at(-1)).toBeGreaterThanOrEqual(top * (1 - 1e-9));
        expect(ticks.length).toBeGreaterThanOrEqual(3);
        expect(ticks.length).toBeLessThanOrEqual(7);
      }),
    );
    expect(ticksTo(NaN)).toEqual([0, 1]);
  });
});

describe('totals in words', () => {
  test.each([[12.345, '12.3 mL'], [999.4, '999 mL'], [12_345, '12.3 L'], [NaN, '–']])('%d mL', (ml, text) => expect(fluidText(ml)).toBe(text));
});
