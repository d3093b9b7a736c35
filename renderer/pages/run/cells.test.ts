import { describe, expect, it } from 'vitest';
import type { RunEventBody } from '../../../app/journal/events.ts';
import { pointsWithoutResult } from '../../../app/journal/targets.ts';
import { pressureMoveText, rejectedPoints, lookOf, looks, tallyOf, tallyText } from './cells.ts';
import { accepted, ended, journalOf, planOf, started } from './journal.test-helper.ts';

const plan = planOf({ axes: { voltageV: [14], pressureKpa: [400], widthMs: [3, 5, 8], periodMs: [20], replicates: 1 } });

it('WIN-137 says what measuring points again does to the rail pressure of a run that is under way', () => {
  const two = planOf({ axes: { voltageV: [14], pressureKpa: [300, 400], widthMs: [3, 5], periodMs: [20], replicates: 1 } });
  const begun: readonly RunEventBody[] = [{ kind: 'proving-started' }, { kind: 'measuring-started' }, started(0)];
  const { state } = journalOf(two, begun);
  const at = (kpa: number): number => state.setPoints.findIndex((point) => Math.abs(point.pressure - kpa * 1e3) < 1);
  const now = Math.round((state.setPoints[0]?.pressure ?? 0) / 1e3);
  const other = now === 300 ? 400 : 300;
  expect(pressureMoveText(state, [at(other)])).toBe(`The rail goes from ${now} kPa to ${other} kPa for it, and back.`);
  expect(pressureMoveText(state, [at(now)])).toBe('');
  expect(pressureMoveText(journalOf(two, begun.slice(0, 2)).state, [at(other)])).toBe('');
});

describe('looks of points', () => {
  const bodies: readonly RunEventBody[] = [
    { kind: 'proving-started' },
    { kind: 'measuring-started' },
    ...accepted(0),
    started(1), ended(1, 'rejected'),
    started(2), ended(2, 'cut'),
    { kind: 'point-skipped', point: 3, why: 'Somebody left it out.' },
    started(4), ended(4, 'rejected'),
    { kind: 'chosen', point: 4, attempt: null, by: { person: 'Somebody' }, why: 'It leaks.' },
  ];

  it('tells each way in which a point can stand', () => {
    const { state } = journalOf(plan, bodies);
    expect([0, 1, 2, 3, 4, 5].map((point) => lookOf(state, point))).toEqual(['accepted', 'failed', 'cut', 'skipped', 'none', 'planned']);
    expect(tallyText(tallyOf(state, [0, 1, 2, 3, 4, 5]))).toBe('1 accepted, 1 failed, 1 cut short, 1 left out, 1 none counts, 1 planned');
  });

  it('shows what is asked for again, then what is measured now, whatever was before', () => {
    const asked = journalOf(plan, [...bodies, { kind: 'queued', points: [0, 1], reason: 'measure-again' }]).state;
    expect([lookOf(asked, 0), lookOf(asked, 1)]).toEqual(['again', 'again']);
    const running = journalOf(plan, [...bodies, { kind: 'queued', points: [0], reason: 'measure-again' }, started(0, 2)]).state;
    expect(lookOf(running, 0)).toBe('running');
  });

  it('calls failed what was tried and rejected; what was cut short or never tried has no result either, and is not failed', () => {
    const ending: RunEventBody = { kind: 'ended', ending: 'aborted', text: 'Aborted.' };
    expect(rejectedPoints(journalOf(plan, bodies).state)).toEqual([1]);
    expect(rejectedPoints(journalOf(plan, [...bodies, ending]).state)).toEqual([1]);
    expect(pointsWithoutResult(journalOf(plan, [...bodies, ending]).state)).toEqual([1, 2, 5]);
  });

  it('gives each look a glyph and a word of its own', () => {
    expect(new Set(looks.map((entry) => entry.glyph)).size).toBe(looks.length);
    expect(new Set(looks.map((entry) => entry.word)).size).toBe(looks.length);
  });
});
