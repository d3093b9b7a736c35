import fc from 'fast-check';
import { describe, expect, it } from 'vitest';
import { kilopascals, milliseconds, volts } from '../../../app/quantities/quantity.ts';
import { expandPlan } from '../../../app/plan/expand.ts';
import { planOf } from './journal.test-helper.ts';
import { pointWords, sheetsOf } from './sheets.ts';

describe('sheets of a plan', () => {
  const plan = planOf();
  const points = expandPlan(plan);
  const sheets = sheetsOf(plan, points);

  it('has one sheet for each pressure, lowest first, with rows of injector and voltage', () => {
    expect(sheets.map((sheet) => sheet.label)).toEqual(['300 kPa', '400 kPa']);
    expect(sheets[0]?.rows.map((row) => `${row.group} ${row.label}`)).toEqual(['A1 10 V', 'A1 14 V', 'A2 10 V', 'A2 14 V']);
    expect(sheets[0]?.columnGroups).toEqual([{ label: '3', span: 2 }, { label: '5', span: 2 }, { label: '8', span: 2 }]);
    expect(sheets[0]?.columns).toEqual(['1', '2', '1', '2', '1', '2']);
  });

  it('puts each point where its own values say', () => {
    const point = points[sheets[1]?.rows[3]?.points[3] ?? -1];
    if (point === undefined) throw new Error('There is no point at that place.');
    expect(pointWords(plan, point)).toBe('A2, 14 V, 5 ms, 400 kPa, replicate 2 of 2');
  });

  it('names the period where a plan has several, and gives each its sheet', () => {
    const several = planOf({ axes: { voltageV: [14], pressureKpa: [400], widthMs: [3], periodMs: [10, 20], replicates: 1 } });
    expect(sheetsOf(several, expandPlan(several)).map((sheet) => sheet.label)).toEqual(['400 kPa, period 10 ms', '400 kPa, period 20 ms']);
  });

  it('keeps reference points on a sheet of their own, in their order', () => {
    const withReference = planOf({ reference: { injector: 'A1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 10 } });
    const all = expandPlan(withReference);
    const sheet = sheetsOf(withReference, all).at(-1);
    expect(sheet?.key).toBe('reference');
    expect(sheet?.points).toEqual(all.filter((point) => point.role === 'reference').map((point) => point.index));
  });

  it('keeps static points on a sheet of their own, and every point is on one sheet', () => {
    const held = planOf({ static: { replicates: 3 } });
    const all = expandPlan(held);
    const made = sheetsOf(held, all);
    const sheet = made.find(({ key }) => key === 'static');
    expect(sheet?.rows.map((row) => `${row.group} ${row.label}`)).toEqual(['A1 300 kPa', 'A1 400 kPa', 'A2 300 kPa', 'A2 400 kPa']);
    expect(sheet?.rows.every((row) => row.points.length === 3 && row.points.every((p) => all[p ?? -1]?.role === 'static'))).toBe(true);
    expect(made.flatMap(({ points: shown }) => shown).toSorted((a, b) => a - b)).toEqual(all.map(({ index }) => index));
    const [first] = all.filter(({ role }) => role === 'static');
    if (first === undefined) throw new Error('There is no static point.');
    expect(pointWords(held, first)).toBe('A1, 14 V, 20 ms, 400 kPa, held open, replicate 1 of 3');
  });

  it('WIN-23 has a column for each window that a cell of a plan with targets may have, whatever their widths, and every window is shown', () => {
    const wanting = planOf({ targets: { deadTimeUs: 5, atVoltage: [], hours: 1, attemptsPerCell: 9, known: [] }, axes: { ...plan.axes, replicates: 1, widthMs: [2, 3, 4, 5, 6, 8] } });
    const first = expandPlan(wanting);
    const at = { role: 'measure', injector: 1, channel: 2, voltage: volts(14), pressure: kilopascals(400), period: milliseconds(20) } as const;
    const added = [8, 2, 2, 2, 3].map((width, i) => ({ ...at, index: first.length + i, width: milliseconds(width), replicate: [0, 0, 1, 2, 0][i] ?? 0 }));
    const sheet = sheetsOf(wanting, [...first, ...added]).find(({ label }) => label === '400 kPa');
    expect(sheet?.columnGroups.length).toBe(9);
    expect(sheet?.rows.find(({ group, label }) => group === 'A2' && label === '14 V')?.points).toEqual([...added.map(({ index }) => index), null, null, null, null]);
  });

  it('shows every point of any plan exactly once', () => {
    const axis = (most: number) => fc.uniqueArray(fc.integer({ min: 1, max: most }), { minLength: 1, maxLength: 4 });
    fc.assert(
      fc.property(axis(16), axis(600), axis(15), fc.integer({ min: 1, max: 3 }), fc.boolean(), (voltageV, pressureKpa, widthMs, replicates, withReference) => {
        const any = planOf({
          axes: { voltageV, pressureKpa, widthMs, periodMs: [20, 25], replicates },
          ...(withReference ? { reference: { injector: 'A2', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 7 } } : {}),
        });
        const all = expandPlan(any);
        const drawn = sheetsOf(any, all).flatMap((sheet) => sheet.rows.flatMap((row) => row.points.filter((point) => point !== null)));
        expect(drawn.toSorted((a, b) => a - b)).toEqual(all.map((point) => point.index));
      }),
      { numRuns: 60 },
    );
  });
});
