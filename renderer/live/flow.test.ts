import { describe, expect, test } from 'vitest';
import { densityOfHeptane } from '../../app/fluid/heptane.test-helper.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { celsius, kilopascals } from '../../app/quantities/quantity.ts';
import { FlowFromEdges, massFlow } from './flow.ts';
import { frame } from './frames.test-helper.ts';

const certificate = { number: 'T-1', date: '2026-01-01', validUntil: '2027-01-01' };
const equipment: Equipment = {
  equipmentVersion: 1, name: 'test',
  meter: { kind: 'oval gear', serialNumber: '1', kFactor: [{ hertz: 1, edgesPerLitre: 48_000 }], relativeUncertaintyPercent: 0.1, edgesPerRevolution: 24, certificate },
  pressure: { serialNumber: '1', uncertaintyKpa: 0.4, certificate }, temperature: { serialNumber: '1', uncertaintyC: 0.1, certificate },
  supply: { serialNumber: '1', uncertaintyMv: 5, certificate }, fluid: { name: 'n-heptane', lot: '1', openedOn: '2026-01-01', densityUncertaintyPercent: 0.1 },
  ambientKpa: 101.325,
};

/** Frames at 50 Hz from a meter whose edges come at `hertz` until `until`, s. */
function seen(hertz: number, until: number, to: number): { readonly at: number; readonly flow: number | null }[] {
  const flow = new FlowFromEdges();
  const found = [];
  for (let at = 0.02; at <= to; at += 0.02) {
    const edges = Math.floor(Math.min(at, until) * hertz + 1e-9);
    found.push({ at, flow: flow.add(frame({ at, edges, lastEdgeAt: edges / hertz })) });
  }
  return found;
}

describe('flow from edges', () => {
  test.each([0.8, 7.3, 35, 400])('of a steady meter at %d Hz is its frequency, whatever the frames cut', (hertz) => {
    for (const { at, flow } of seen(hertz, 20, 20)) if (at > 3) expect(flow).toBeCloseTo(hertz, 6);
  });

  test('is not told where all edges are timed alike, or as coming before each other', () => {
    const flow = new FlowFromEdges();
    expect([[1, 10], [1.05, 12], [1.1, 13]].map(([at = 0, edges = 0]) => flow.add(frame({ at, edges, lastEdgeAt: 0.9 })))).toEqual([null, null, null]);
    expect(flow.add(frame({ at: 1.15, edges: 14, lastEdgeAt: 0.8 }))).toBeNull();
    expect(flow.add(frame({ at: 1.4, edges: 20, lastEdgeAt: 1.4 }))).toBeGreaterThan(0);
  });

  test('falls without a jump when the next edge is overdue, and is 0 after some seconds without one', () => {
    const after = seen(10, 5, 12).filter(({ at }) => at > 5);
    for (const [i, { flow }] of after.entries()) {
      const before = after[i - 1]?.flow ?? 10;
      expect(flow).toBeLessThanOrEqual(before);
      expect(before - (flow ?? Number.NaN)).toBeLessThan(2);
    }
    expect(after.at(-1)?.flow).toBe(0);
  });

  test('begins after a silence with what comes then, not with the silence', () => {
    const flow = new FlowFromEdges();
    let found: number | null = null;
    for (let at = 0.02; at <= 12; at += 0.02) {
      const edges = Math.max(0, Math.floor((at - 10) * 50 + 1e-9));
      found = flow.add(frame({ at, edges, lastEdgeAt: edges === 0 ? 0 : 10 + edges / 50 }));
      if (at > 4.1 && edges === 0) expect(found).toBe(0);
      if (edges > 2) expect(found).toBeCloseTo(50, 6);
    }
    expect(found).not.toBeNull();
  });

  test('is not known before two edges were seen', () => {
    const flow = new FlowFromEdges();
    expect(flow.add(frame({ at: 1, edges: 5, lastEdgeAt: 0.9 }))).toBeNull();
    expect(flow.add(frame({ at: 1.2, edges: 6, lastEdgeAt: 1.1 }))).toBeCloseTo(5, 9);
  });
});

test('mass flow is volume by the K-factor times density at the meter', () => {
  const at = frame({ at: 1 });
  const density = densityOfHeptane(celsius(20), kilopascals(400 + 101.325));
  expect(massFlow(equipment, at, 48)).toBeCloseTo((48 / 48e6) * density, 12);
  expect(massFlow(equipment, at, 0)).toBe(0);
  expect(massFlow(equipment, frame({ at: 1, meterTemperature: celsius(200) }), 48)).toBeNull();
});
