import { describe, expect, it } from 'vitest';
import type { CellProgress } from '../../../app/schedule/progress.ts';
import { errorSource } from '../../../app/uncertainty/source.ts';
import { cellSentences, cellText, decisionText, endByClock, inTheWay, knownText, standings, standingOf } from './target-words.ts';

const cell = (over: Partial<CellProgress> = {}): CellProgress => ({
  of: 'line', advice: '', weighed: false,
  injector: 0, serialNumber: 'A1', voltage: 9, pressure: 4e5, period: 0.02, wanted: 9e-6, expanded: 14.1e-6, least: 5.2e-6, windows: 12, state: 'open', largest: errorSource('supply-read-back'), ...over,
});

describe('words of targets', () => {
  const reached = cell({ state: 'reached', expanded: 8.9e-6 });
  const begun = cell({ state: 'no-line', expanded: null, least: null, largest: null });

  it('WIN-23 each standing has a sign and words of its own, in the cell and in full', () => {
    const all = [reached, cell(), begun, cell({ state: 'beyond', least: 9.5e-6 }), cell({ state: 'used-up' })];
    expect(new Set(all.map(standingOf)).size).toBe(standings.length);
    expect(new Set(all.map((one) => cellText(one).split(' ')[0])).size).toBe(standings.length);
    expect(cellText(reached)).toBe('✓ 8.9\u00a0µs');
    expect(cellSentences(cell())).toMatch(/^A1 at 9 V, 12 windows: U95 of the dead time is 14\.1.µs now, 9\.0.µs wanted\. More windows are measured\./);
    expect(cellSentences(begun)).toMatch(/no line yet; 9\.0.µs wanted/);
    expect(cellSentences(cell({ state: 'no-line', expanded: null, least: null, windows: 0 }))).toContain('not begun');
    expect(knownText(all)).toBe('1 of 5 cells known');
  });

  it('WIN-23 what keeps cells from their targets is told voltage by voltage, and only of those', () => {
    expect(inTheWay([reached, cell(), begun])).toBe('');
    const text = inTheWay([cell({ state: 'beyond', least: 9.5e-6 }), cell({ state: 'beyond', least: 10e-6 }), cell({ state: 'beyond', voltage: 12, least: 9.1e-6 }), cell({ voltage: 14 })]);
    expect(text).toMatch(/^Cannot be reached: 9 V, 2 cells: the instruments allow 9\.5.µs to 10\.0.µs at best, most of it .*; 12 V, 1 cell: the instruments allow 9\.1.µs at best, most of it /);
  });

  it('WIN-150 cells of a map say where they are, whether they were measured there, and what to measure as well', () => {
    const inMap = cell({ of: 'map-dead-time', voltage: 12.5, pressure: 3.5e5, windows: 0, state: 'beyond', least: 9.5e-6, largest: errorSource('interpolation', 'voltage'), advice: 'Measure 12.5 V as well.' });
    expect(cellSentences(inMap)).toMatch(/^A1 in the map at 12\.5 V and 350 kPa, not measured there: U95 of the dead time is 14\.1.µs now, 9\.0.µs wanted\. No sensible number of windows reaches it\. The instruments and the curve between measured places allow 9\.5.µs at best, most of it: interpolation over voltage\. Measure 12\.5 V as well\.$/);
    expect(inTheWay([inMap, cell({ state: 'beyond' })])).toMatch(/^Cannot be reached: Map, 1 cell: measure 12\.5 V as well; the instruments and the curve allow 9\.5.µs at best, most of it interpolation over voltage; 9 V, 1 cell: the instruments allow 5\.2.µs at best, most of it supply read-back\.$/);
    expect(cellText(cell({ of: 'map-slope', wanted: 0.003, expanded: 0.0041 }))).toMatch(/0\.41.%$/);
    expect(cellSentences(cell({ of: 'map-slope', wanted: 0.003, expanded: 0.0041, least: 0.002, windows: 7 }))).toMatch(/at 9 V and 400 kPa, 7 windows there: U95 of the slope is 0\.41.% now, 0\.30.% wanted\. More windows/);
    expect(cellSentences(cell({ of: 'map-dead-time', state: 'no-line', expanded: null, least: null, windows: 0, advice: 'Only 9 V was measured.' }))).toMatch(/not measured there: no value yet; 9\.0.µs wanted\. Only 9 V was measured\.$/);
  });

  it('WIN-152 cells that only weigh say how near they are to the best that the instruments allow, and want nothing', () => {
    expect(cellSentences(cell({ weighed: true }))).toMatch(/^A1 at 9 V, 12 windows: U95 of the dead time is 14\.1.µs now\. The hours of the plan are spent where the worst cell gains most\. The instruments allow 5\.2.µs at best, most of it: supply read-back\.$/);
    expect(cellSentences(cell({ weighed: true, state: 'reached', expanded: 5.3e-6 }))).toContain('as near as is sensible');
  });

  it('WIN-24 the end is a time of day with a range, by the clock of the wall', () => {
    const now = new Date(2026, 1, 1, 14, 0).getTime();
    const remaining = { low: 1800, likely: 3600, high: 7200 };
    expect(endByClock(remaining, now, now, 1)).toBe('about 1 h left, done about 15:00 (14:30 to 16:00)');
    // Half an hour after it was worked out, and of a bench that goes twice as fast.
    expect(endByClock(remaining, now - 1800e3, now, 1)).toBe('about 30 min left, done about 14:30 (14:00 to 15:30)');
    expect(endByClock(remaining, now, now, 2)).toBe('about 30 min left by the clock, done about 14:30 (14:15 to 15:00)');
    expect(endByClock({ low: 0, likely: 0, high: 0 }, now, now, 1)).toBe('nothing left to measure');
  });

  it('WIN-23 the last decision is told with its first reason and how many more there are', () => {
    expect(decisionText({ at: 0, windows: 1, reasons: ['a'] })).toBe('1 point added: a.');
    expect(decisionText({ at: 0, windows: 9, reasons: ['a', 'b', 'a', 'c'] })).toBe('9 points added: a, and 2 other reasons.');
  });
});
