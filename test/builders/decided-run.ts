/** A run of a plan with targets as the archive receives it, decided about again and again; no host, no bench, no frames. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Equipment } from '../../app/equipment/equipment.ts';
import type { WindowSummary } from '../../app/journal/measured.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { zeroWindow } from '../../app/plan/zero.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { drawErrors, normalFrom, quietScatter, syntheticInjector, syntheticWindow, syntheticZero } from '../../app/reduce/synthetic.test-helper.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import type { decideStored } from '../../main/service/decide.ts';
import { sampleEquipment, scratchFolder } from './in-process.ts';

/** Windows that scatter so much are never enough, and every decision adds what it may. */
const poorScatter = { ...quietScatter, relative: 2e-2, width: 5e-5 };

/** What a decision was made from, and how many points it added. */
export interface DecisionMade {
  readonly measured: number;
  readonly added: number;
}

/** What is asked each time that all that was decided has been measured; null ends it. */
type Decided<A> = (archive: Archive, run: string, measured: number) => A;

/** Measures what is decided until `decide` adds nothing or gives null. */
export function decideInArchive(plan: Plan, seed: number, decide: Decided<ReturnType<typeof decideStored> | null>): readonly DecisionMade[] {
  const deciding = decidingInArchive(plan, seed);
  try {
    for (let step = deciding.next(null); ; ) {
      if (step.done === true) return step.value;
      const { archive, run, measured } = step.value;
      step = deciding.next(decide(archive, run, measured));
    }
  } finally {
    deciding.return([]);
  }
}

/** The same where another process decides. */
export async function decideElsewhere(plan: Plan, seed: number, decide: Decided<Promise<ReturnType<typeof decideStored> | null>>): Promise<readonly DecisionMade[]> {
  const deciding = decidingInArchive(plan, seed);
  try {
    for (let step = deciding.next(null); ; ) {
      if (step.done === true) return step.value;
      const { archive, run, measured } = step.value;
      step = deciding.next(await decide(archive, run, measured));
    }
  } finally {
    deciding.return([]);
  }
}

function* decidingInArchive(plan: Plan, seed: number): Generator<{ readonly archive: Archive; readonly run: string; readonly measured: number }, readonly DecisionMade[], ReturnType<typeof decideStored> | null> {
  const folder = scratchFolder();
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis(1_750_000_000_000), entropy: { nextUint32: () => seed } });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const equipment = sampleEquipment();
  try {
    let points: readonly Point[] = expandPlan(plan);
    const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test', simulated: true });
    if (!created.ok) throw new Error(created.text);
    append(archive, created.id, [{ kind: 'opened', plan, equipment, operator: 'Operator 1', software: 'test', points: points.length }]);
    const windowOf = benchOf(plan, equipment, seed);
    const made: DecisionMade[] = [];
    for (let measured = 0; ; ) {
      append(archive, created.id, points.slice(measured).flatMap((at) => measuredEvents(at, windowOf(at))));
      measured = points.length;
      const decided = yield { archive, run: created.id, measured };
      if (decided === null) return made;
      if (!decided.ok) throw new Error(decided.text);
      const { additions } = decided.decision;
      const added = additions.flatMap((a) => a.points).map((p, i) => ({ ...p, index: measured + i }));
      made.push({ measured, added: added.length });
      if (added.length === 0) return made;
      points = [...points, ...added];
      append(archive, created.id, additions.map(({ points: of, rule, why }) => ({ kind: 'points-added', points: of, by: { rule }, why })));
    }
  } finally {
    archive.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** Runs of the grid of `plan` as an archive at `path` keeps them, one for each seed: lines of every injector bend below `reach`, s, of open time. The first seed is the day. Gives their ids, in order. */
export function keepBentRuns(path: string, plan: Plan, seeds: readonly number[], reach: number, simulated = false): readonly string[] {
  const seed = seeds.reduce((sum, s) => 31 * sum + s, simulated ? 1 : 2) >>> 0;
  let minutes = 0;
  let drawn = seed;
  const opened = openArchive(path, { now: () => unixMillis(1_750_000_000_000 + 86_400_000 * (seeds[0] ?? 0) + 60_000 * (minutes += 1)), entropy: { nextUint32: () => (drawn = (1_664_525 * drawn + 1_013_904_223) >>> 0) } });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const equipment = sampleEquipment();
  try {
    return seeds.map((one) => {
      const normal = normalFrom(one);
      const errors = drawErrors(equipment, normal);
      const points = expandPlan(plan);
      const created = archive.createRun({ plan, equipment, operator: 'Operator 1', software: 'test', simulated });
      if (!created.ok) throw new Error(created.text);
      append(archive, created.id, [{ kind: 'opened', plan, equipment, operator: 'Operator 1', software: 'test', points: points.length }]);
      append(archive, created.id, points.flatMap((at) => measuredEvents(at, syntheticWindow(at, bent(at, reach), plan, equipment, errors, quietScatter, normal))));
      return created.id;
    });
  } finally {
    archive.close();
  }
}

function bent({ injector, voltage, pressure }: Point, reach: number): ReturnType<typeof syntheticInjector> {
  const of = syntheticInjector(injector);
  return { ...of, bend: (width) => 4e-7 * Math.max(0, reach - (width - of.deadTime(voltage, pressure))) / 1e-3 };
}

type Bodies = Parameters<Archive['append']>[1];

function append(archive: Archive, id: string, bodies: Bodies): void {
  const written = archive.append(id, bodies, []);
  if (!written.ok) throw new Error(written.text);
}

function benchOf(plan: Plan, equipment: Equipment, seed: number): (at: Point) => WindowSummary {
  const normal = normalFrom(seed);
  const errors = drawErrors(equipment, normal);
  return (at) => (at.role === 'zero' ? syntheticZero(at, equipment, 0, zeroWindow(plan), 0.5) : syntheticWindow(at, syntheticInjector(at.injector), plan, equipment, errors, poorScatter, normal));
}

function measuredEvents({ index }: Point, window: WindowSummary): Bodies {
  const place = { point: index, attempt: 1 };
  return [
    { kind: 'attempt-started', ...place, reason: 'plan' },
    ...(['supply', 'condition', 'purge', 'settle', 'measure'] as const).map((step) => ({ kind: 'step' as const, step, ...place })),
    { kind: 'attempt-ended', ...place, verdict: 'accepted', window, criteria: [{ rule: 'pressure', passed: true, text: 'Mean 400.00 kPa, allowed 396.00 kPa to 404.00 kPa.' }], text: 'All criteria are met.' },
    { kind: 'chosen', ...place, by: { rule: 'RUN-40' }, why: 'First accepted attempt.' },
  ];
}
