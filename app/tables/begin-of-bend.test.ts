import { describe, expect, it } from 'vitest';
import { expandPlan } from '../plan/expand.ts';
import { milliseconds, pascals, volts } from '../quantities/quantity.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { noErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import { carried, randomPart } from '../uncertainty/carried.ts';
import type { Carried } from '../uncertainty/carried.ts';
import { errorSource } from '../uncertainty/source.ts';
import { chancesOfBend } from './begin-of-bend.ts';
import { shortPulseTables } from './short-pulse.ts';

/** Off its line by `value` of its own standard deviation, 1, beside the line's, `ofLine`. */
const off = (value: number, i: number, ofLine = 0): { readonly of: Carried; readonly usual: number } => ({
  of: carried(value, [randomPart(errorSource('width-mass', String(i)), 1, 100, 'a'), randomPart(errorSource('line-height', 'all'), ofLine, 100, 'a')]),
  usual: 8,
});
const chances = (values: readonly number[], ofLine = 0): readonly number[] => chancesOfBend(values.map((v, i) => off(v, i, ofLine)), 100);

describe('RED-86: where short pulses begin to bend', () => {
  it('is certain where all shorter widths go on, and unlikely where they come back to the line', () => {
    const [shortest = 0, next = 0, longest = 1] = chances([40, 10, 0.5]);
    expect(Math.min(shortest, next)).toBeGreaterThan(0.999);
    expect(longest).toBeLessThan(0.3);
    // Picked for being large: three standard deviations of one width, and nothing at the shorter ones.
    expect(Math.max(...chances([0.3, -0.5, 3]))).toBeLessThan(0.35);
    expect(chances([3, 0.3, -0.5])[0]).toBeGreaterThan(0.5);
    expect(chances([])).toEqual([]);
  });

  it('knows that widths share their line: all off by the same is the line, off by more than it allows is a bend', () => {
    expect(Math.max(...chances([5, 5, 5], 5))).toBeLessThan(0.2);
    expect(Math.min(...chances([5, 5, 5], 0))).toBeGreaterThan(0.99);
  });

  it('is less certain the worse the scatter is known', () => {
    const told = (dof: number): number => chancesOfBend([off(4, 0), off(0, 1)], dof)[0] ?? 0;
    expect(told(3)).toBeLessThan(told(30));
    expect(told(30)).toBeLessThan(told(Number.POSITIVE_INFINITY));
  });

  it('is what it is also where nothing scatters', () => {
    const exact = (value: number): { readonly of: Carried; readonly usual: number } => ({ of: carried(value), usual: 1 });
    for (const chance of chancesOfBend([exact(-0.3), exact(-0.1)], 100)) expect(chance).toBe(1);
  });

  it('makes the correction of straight lines hold 0, although the widths were picked for lying off', () => {
    const plan = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs: [1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8, 10] }, 4);
    const points = expandPlan(plan);
    let [held, all, certain] = [0, 0, 0];
    for (let seed = 1; seed <= 12; seed += 1) {
      const normal = normalFrom(seed);
      const attempts = points.map((point) => ({
        point: point.index,
        attempt: 1,
        window: syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, noErrors, { relative: 1e-3, width: 1e-6, voltage: 0, pressure: 0, warmer: 0 }, normal),
      }));
      for (const { cells } of shortPulseTables(reduceRun({ plan, equipment: syntheticEquipment, points, attempts }), [1.8e-3, 2e-3, 2.2e-3])) {
        for (const cell of cells.flat()) {
          if (cell.kind !== 'value' || cell.result.value === 0) continue;
          all += 1;
          if (Math.abs(cell.result.value) <= cell.result.expanded) held += 1;
          if (cell.result.expanded < 3e-9) certain += 1;
        }
      }
    }
    expect(all).toBeGreaterThan(20);
    expect(held / all).toBeGreaterThanOrEqual(0.95);
    // And says no more than scatter allows: no figure is surer than one width.
    expect(certain).toBe(0);
  });
});

describe('RED-153: between measured widths', () => {
  const measured = [1.8e-3, 2e-3, 2.2e-3];
  const between = [1.9e-3, 2.1e-3];

  /** U95 in the middle of two widths over what their own leave there, the middle over all cells below the region, and the share of true corrections that are held. `bend` in kg. */
  function inTheMiddle(bend: (width: number) => number): { readonly ratio: number; readonly held: number; readonly cells: number } {
    const plan = syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs: [1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8, 10] }, 4);
    const points = expandPlan(plan);
    const ratios: number[] = [];
    let held = 0;
    for (let seed = 21; seed <= 32; seed += 1) {
      const normal = normalFrom(seed);
      const attempts = points.map((point) => ({
        point: point.index, attempt: 1,
        window: syntheticWindow(point, { ...syntheticInjector(point.injector), bend }, plan, syntheticEquipment, noErrors, { relative: 1e-3, width: 1e-6, voltage: 0, pressure: 0, warmer: 0 }, normal),
      }));
      const reduction = reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
      const [at, mid] = [shortPulseTables(reduction, measured), shortPulseTables(reduction, between)];
      mid.forEach(({ cells }, injector) => {
        cells.forEach((row, voltage) => {
          row.forEach((cell, i) => {
            const [a, b] = [at[injector]?.cells[voltage]?.[i], at[injector]?.cells[voltage]?.[i + 1]];
            if (cell.kind !== 'value' || cell.basis !== 'interpolated' || a?.kind !== 'value' || b?.kind !== 'value' || a.result.value === 0) return;
            ratios.push(cell.result.expanded / (Math.hypot(a.result.expanded, b.result.expanded) / 2));
            if (Math.abs(cell.result.value - bend(between[i] ?? 0)) <= cell.result.expanded) held += 1;
          });
        });
      });
    }
    ratios.sort((x, y) => x - y);
    return { ratio: ratios[Math.floor(ratios.length / 2)] ?? Number.NaN, held: held / ratios.length, cells: ratios.length };
  }

  it('the scatter of a bend that has hardly begun counts for less, and still holds 0', () => {
    const { ratio, held, cells } = inTheMiddle(() => 0);
    expect(cells).toBeGreaterThan(15);
    expect(ratio).toBeLessThan(0.85);
    expect(held).toBeGreaterThanOrEqual(0.92);
  });

  it('that of a bend that is there counts in full', () => {
    const { ratio, cells } = inTheMiddle((width) => 3e-7 * Math.max(0, (2.4e-3 - width) / 0.6e-3) ** 2);
    expect(cells).toBeGreaterThan(100);
    expect(ratio).toBeGreaterThan(1);
  });
});

describe('RED-87: a bend stands where the needle opens', () => {
  it('so on a warmer bench it is referred along the width with the dead time', () => {
    const warmer = 4;
    const plan = syntheticPlan({ voltageV: [9, 10.5, 12], widthMs: [1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8, 10] }, 1);
    const points = expandPlan(plan);
    const bend = (w: number): number => -2e-7 * Math.exp(-(w - 1.8e-3) / 0.12e-3);
    const widths = [milliseconds(1.8), milliseconds(2)];
    const corrections = (by: number): readonly { readonly value: number; readonly expanded: number }[] => {
      const attempts = points.map((point) => {
        const injector = syntheticInjector(point.injector);
        const later = injector.deadTime(volts(point.voltage), pascals(point.pressure), by) - injector.deadTime(volts(point.voltage), pascals(point.pressure));
        const normal = normalFrom(point.index + 1);
        const scatter = { relative: 1e-4, width: 1e-7, voltage: 0, pressure: 0, warmer: by };
        return { point: point.index, attempt: 1, window: syntheticWindow(point, { ...injector, bend: (w) => bend(w - later) }, plan, syntheticEquipment, noErrors, scatter, normal) };
      });
      const [table] = shortPulseTables(reduceRun({ plan, equipment: syntheticEquipment, points, attempts }), widths);
      return (table?.cells ?? []).flat().flatMap((cell) => (cell.kind === 'value' ? [cell.result] : []));
    };
    const [cold, warm] = [corrections(0), corrections(warmer)];
    expect(cold).toHaveLength(6);
    cold.forEach(({ value }, i) => {
      const width = widths[i % 2] ?? 0;
      expect(Math.abs(value - bend(width)) / Math.abs(bend(width))).toBeLessThan(0.08);
      const told = warm[i];
      if (told === undefined) throw new Error('no correction');
      expect(Math.abs(told.value - bend(width))).toBeLessThan(1.5 * told.expanded);
      expect(Math.abs(told.value - bend(width)) / Math.abs(bend(width))).toBeLessThan(0.2);
    });
    // What moved is uncertain by how well the steepness is known.
    expect((warm[0]?.expanded ?? 0) / (cold[0]?.expanded ?? 1)).toBeGreaterThan(1.2);
  });
});

describe('RED-174: where the needle hardly reaches its stop the measured widths do not tell how steep the curve is', () => {
  const plan = syntheticPlan({ voltageV: [12], widthMs: [1.6, 1.8, 2, 2.2, 2.5, 3, 4, 5, 6, 8, 10] }, 1);
  const points = expandPlan(plan);
  /** Standard uncertainties at a width that is not resolved, in the middle between it and the next, and what the part of a bounce is at each; `less`: what the shortest pulse passes less than its line, relative. */
  const stated = (less: number): readonly { readonly u: number; readonly bounce: number; readonly basis: string }[] => {
    const injector = syntheticInjector(0);
    const begins = injector.deadTime(volts(12), pascals(4e5));
    const bend = (w: number): number => -less * injector.slope(pascals(4e5)) * (1.6e-3 - begins) * Math.exp(-(w - 1.6e-3) / 0.1e-3);
    const normal = normalFrom(3);
    const attempts = points.map((point) => ({ point: point.index, attempt: 1, window: syntheticWindow(point, { ...injector, bend }, plan, syntheticEquipment, noErrors, { relative: 1e-4, width: 1e-7, voltage: 0, pressure: 0, warmer: 3 }, normal) }));
    const reduction = reduceRun({ plan, equipment: syntheticEquipment, points, attempts });
    const [cell] = reduction.cells;
    if (cell?.kind !== 'line') throw new Error('no line');
    const { toVoltage, toPressure, toTemperature, toCoil } = cell.referred;
    const along = Math.hypot(toVoltage + toPressure + toTemperature + toCoil, ...cell.shared.filter((p) => p.source.quantity !== 'line-definition').map((p) => p.onDeadTime));
    const places = [1.6e-3, 1.7e-3];
    const cells = shortPulseTables(reduction, places)[0]?.cells[0] ?? [];
    return places.map((width, i) => {
      const found = cells[i];
      if (found?.kind !== 'value') throw new Error('no correction');
      const part = (found.result.value / (cell.slope.value * (width - cell.deadTime.value))) ** 4;
      return { basis: found.basis, u: found.result.u, bounce: ((1.6 * part) / (part + 0.04 ** 4)) * cell.slope.value * (i === 0 ? along : 3e-5) };
    });
  };

  it('so what moves it along the width, and how far a bounce goes between two widths, is in the uncertainty', () => {
    const [at, between] = stated(0.2);
    for (const { u, bounce, basis } of [at, between].flatMap((one) => one ?? [])) {
      expect(basis).toBe('unresolved');
      expect(u).toBeGreaterThan(bounce);
      expect(u).toBeLessThan(1.5 * bounce);
    }
  });

  it('and where a pulse passes little less than its line, hardly', () => {
    const [[far, near], [, little]] = [stated(0.2), stated(0.015)];
    expect(little?.u ?? 1).toBeLessThan((near?.u ?? 0) / 20);
    expect(far?.bounce).toBeGreaterThan(0);
    expect(little?.bounce ?? 1).toBeLessThan(0.02 * (near?.bounce ?? 0));
  });
});
