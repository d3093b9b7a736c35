import { describe, expect, it } from 'vitest';
import type { Equipment } from '../equipment/equipment.ts';
import { expandPlan } from '../plan/expand.ts';
import { kilopascals, milliseconds, pascals, unixMillis, volts } from '../quantities/quantity.ts';
import { reduceRun } from '../reduce/reduce.ts';
import { drawErrors, noErrors, noScatter, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../reduce/synthetic.test-helper.ts';
import { candidatesOf as joined, type Candidates, type MatchPoint, type ReducedRun } from './candidates.ts';
import { matchSets, type Match } from './match.ts';

function candidatesOf(runs: readonly ReducedRun[], points: readonly MatchPoint[]): Candidates {
  const found = joined(runs, points);
  if ('kind' in found) throw new Error(found.text);
  return found;
}

const condition = { voltage: volts(14), pressure: kilopascals(400), period: milliseconds(20), weight: 1 };
const massAt = (ms: number): MatchPoint => ({ ...condition, quantity: 'mass', width: milliseconds(ms) });
const slopePoint: MatchPoint = { ...condition, quantity: 'slope' };
const deadTimePoint: MatchPoint = { ...condition, quantity: 'dead-time' };
const count = 6;
const plan = syntheticPlan({ replicates: 3 }, count);
/** Mean Qd of injector `i` at a width, from the synthetic bench's own truth. */
const truth = (i: number, ms: number): number => {
  const injector = syntheticInjector(i);
  return injector.slope(pascals(4e5)) * (ms * 1e-3 - injector.deadTime(volts(14), pascals(4e5)));
};

interface Made {
  readonly seed?: number;
  readonly id?: string;
  readonly at?: number;
  readonly equipment?: Equipment;
  readonly skip?: (injector: number, width: number) => boolean;
  readonly exact?: boolean;
}

function runOf({ seed = 1, id = 'r1', at = 1, equipment = syntheticEquipment, skip = () => false, exact = false }: Made = {}): ReducedRun {
  const normal = normalFrom(seed);
  const errors = exact ? noErrors : drawErrors(equipment, normal);
  const scatter = exact ? noScatter : { ...noScatter, relative: 1e-3 };
  const points = expandPlan(plan);
  const attempts = points
    .filter((p) => !skip(p.injector, p.width))
    .map((point) => ({ point: point.index, attempt: 1, window: syntheticWindow(point, syntheticInjector(point.injector), plan, equipment, errors, scatter, normal) }));
  return { id, at: unixMillis(at), equipment, reduction: reduceRun({ plan, equipment, points, attempts }), settings: plan.reduction };
}

function matched(runs: readonly ReducedRun[], points: readonly MatchPoint[], sets = 2, of = 3): Match {
  const found = matchSets(candidatesOf(runs, points).candidates, points, { sets, of, objective: 'greatest' });
  if (found.kind !== 'match') throw new Error(found.text);
  return found;
}

const names = (match: Match): string[][] => match.sets.map((s) => s.members.map((m) => m.serialNumber));

describe('matching injectors of a run', () => {
  it('MA-1, MA-3: puts neighbours together and states their deviations from the mean of their set', () => {
    const match = matched([runOf({ exact: true })], [massAt(4)]);
    expect(names(match).toSorted()).toEqual([['S-1', 'S-2', 'S-3'], ['S-4', 'S-5', 'S-6']]);
    expect(match.proof).toEqual({ kind: 'best' });
    for (const { members, points } of match.sets) {
      const indices = members.map((m) => Number(m.serialNumber.slice(2)) - 1);
      const masses = indices.map((i) => truth(i, 4));
      const mean = masses.reduce((a, b) => a + b, 0) / masses.length;
      points[0]?.deviations.forEach((d, i) => expect(d.value).toBeCloseTo(100 * ((masses[i] ?? 0) / mean - 1), 2));
      expect(points[0]?.spread.value).toBeCloseTo((100 * (Math.max(...masses) - Math.min(...masses))) / mean, 2);
      expect(points[0]?.deviations.reduce((sum, d) => sum + d.value, 0)).toBeCloseTo(0, 9);
    }
  });

  it('MA-1: dead time compares in microseconds, an unmeasured width by the line inside its region', () => {
    const run = runOf({ exact: true });
    const [set] = matched([run], [deadTimePoint], 1, 6).sets;
    const dead = [0, 5].map((i) => 1e6 * syntheticInjector(i).deadTime(volts(14), pascals(4e5)));
    expect(set?.points[0]?.spread.value).toBeCloseTo(Math.abs((dead[1] ?? 0) - (dead[0] ?? 0)), 0);
    const { candidates } = candidatesOf([run], [massAt(4.5)]);
    expect((candidates[2]?.values[0]?.value ?? 0) / truth(2, 4.5)).toBeCloseTo(1, 4);
    expect(candidatesOf([run], [massAt(50)]).leftOut[0]?.text).toMatch(/50\.000 ms was not measured, and lies outside the line's region/);
  });

  it('MA-8: leaves out who has no value there, and says why', () => {
    const { candidates, leftOut } = candidatesOf([runOf({ skip: (i, w) => i === 1 && w > 0.0025 })], [massAt(4)]);
    expect(candidates.map((c) => c.serialNumber)).toEqual(['S-1', 'S-3', 'S-4', 'S-5', 'S-6']);
    expect(leftOut).toHaveLength(1);
    expect(leftOut[0]).toMatchObject({ serialNumber: 'S-2' });
    expect(leftOut[0]?.text).toMatch(/widths/);
    expect(candidatesOf([runOf()], [{ ...massAt(4), voltage: volts(9) } as MatchPoint]).candidates).toEqual([]);
    expect(candidatesOf([runOf()], [{ quantity: 'static-flow', pressure: kilopascals(400), weight: 1 }]).leftOut).toHaveLength(count);
    expect(candidatesOf([], [massAt(4)])).toEqual({ candidates: [], leftOut: [], cautions: [] });
  });

  it('MA-8: an injector of several runs stands with the newest', () => {
    const [old, recent] = [runOf({ id: 'old', at: 1 }), runOf({ id: 'new', at: 2, seed: 2, skip: (i) => i < 2 })];
    const { candidates } = candidatesOf([recent, old], [massAt(4)]);
    expect(candidates.map((c) => c.run)).toEqual(['old', 'old', 'new', 'new', 'new', 'new']);
    expect(candidatesOf([recent, runOf({ id: 'newest', at: 3, seed: 3 }), old], [massAt(4)]).candidates.map((c) => c.run)).toEqual(Array.from({ length: count }, () => 'newest'));
  });

  it('MA-10: runs of different reference temperatures are not joined, and other settings are pointed out', () => {
    const [old, recent] = [runOf({ id: 'old', at: 1 }), runOf({ id: 'new', at: 2, seed: 2, skip: (i) => i < 2 })];
    const set = (run: ReducedRun, change: Partial<ReducedRun['settings']>): ReducedRun => ({ ...run, settings: { ...run.settings, ...change } });
    const refused = joined([old, set(recent, { referenceC: 25 })], [massAt(4)]);
    expect(refused).toMatchObject({ kind: 'not-comparable' });
    expect('kind' in refused && refused.text).toMatch(/20 degC \(run old\), 25 degC \(run new\)/);
    // Only where both are used: the newest run has them all.
    expect(joined([set(old, { referenceC: 25 }), runOf({ id: 'new', at: 2 })], [massAt(4)])).toMatchObject({ cautions: [] });
    expect(candidatesOf([old, set(recent, { linearFromMs: 3 })], [massAt(4)]).cautions[0]).toMatch(/reduction\.linearFromMs/);
    expect(candidatesOf([old, recent], [massAt(4)]).candidates.map((c) => c.at)).toEqual([1, 1, 2, 2, 2, 2]);
  });

  it('MA-9: what all members share cancels, and what they do not share stays', () => {
    const run = runOf({ seed: 5 });
    const [set] = matched([run], [slopePoint], 1, 6).sets;
    const point = set?.points[0];
    for (const d of point?.deviations ?? []) {
      // K-factor and density, 0.1 % each, and pressure are gone; a little of what heats the coils is not the same in all.
      expect(d.uShared).toBeLessThan(0.005);
      expect(d.uRandom).toBeGreaterThan(0);
    }
    expect((100 * (point?.mean.uShared ?? 0)) / (point?.mean.value ?? 1)).toBeGreaterThan(0.1);
  });

  it('MA-9, RED-65: between runs cancels what has the same certificate in both, each instrument by itself', () => {
    const other: Equipment = { ...syntheticEquipment, meter: { ...syntheticEquipment.meter, certificate: { ...syntheticEquipment.meter.certificate, number: 'C-9' } } };
    const half = (id: string, equipment: Equipment, from: number) => {
      const run = runOf({ id, equipment, seed: from + 1 });
      return { ...run, reduction: { ...run.reduction, cells: run.reduction.cells.filter((c) => c.injector >= from && c.injector < from + 3) } };
    };
    const hotter: Equipment = { ...syntheticEquipment, temperature: { ...syntheticEquipment.temperature, serialNumber: 'T-9' } };
    const uOf = (second: Equipment) => matched([half('a', syntheticEquipment, 0), half('b', second, 3)], [slopePoint], 1, 6).sets[0]?.points[0]?.deviations[0]?.uShared ?? 0;
    // How warm a coil was is another error in each run.
    expect(uOf(syntheticEquipment)).toBeLessThan(0.02);
    // Half of the set by one K-factor, half by another: 0.1 % / sqrt(2).
    expect(uOf(other)).toBeCloseTo(0.1 / Math.SQRT2, 2);
    expect(uOf(hotter)).toBeLessThan(0.03);
  });

  it('MA-9: the stated 95 % intervals of deviations hold the truth', () => {
    const trials = 120;
    let held = 0;
    let asked = 0;
    for (let seed = 1; seed <= trials; seed += 1) {
      const [set] = matched([runOf({ seed })], [massAt(6)], 1, 6).sets;
      const masses = Array.from({ length: count }, (_, i) => truth(i, 6));
      const mean = masses.reduce((a, b) => a + b, 0) / count;
      // Deviations of one set depend on each other; two of them little.
      for (const i of [0, 3]) {
        const d = set?.points[0]?.deviations[i];
        asked += 1;
        if (d !== undefined && Math.abs(d.value - 100 * ((masses[i] ?? 0) / mean - 1)) <= d.expanded) held += 1;
      }
    }
    expect(Math.abs(held / asked - 0.95)).toBeLessThan(3.5 * Math.sqrt((0.05 * 0.95) / asked));
  });

  it('MA-5: says in words whether the choice is proved', () => {
    const points = [massAt(4), massAt(8)];
    const { candidates } = candidatesOf([runOf({ seed: 3 })], points);
    const found = matchSets(candidates, points, { sets: 2, of: 2, objective: 'total', effort: 1 });
    expect(found.kind === 'match' && found.text).toMatch(/^Not proved best: .* total cost of \d+\.\d+; none can have less than \d+\.\d+\.$/);
    expect(matchSets(candidates, points, { sets: 2, of: 2, objective: 'total' })).toMatchObject({ text: 'Proved best by the measured values: every other choice was weighed or ruled out.' });
    expect(matchSets(candidates, points, { sets: 9, of: 2, objective: 'total' })).toMatchObject({ kind: 'no-choice', reason: 'too-few' });
  });
});
