import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { unixMillis, volts } from '../../app/quantities/quantity.ts';
import { attemptBodies, equipment, frameHz, framesFrom, openedBody, planOf } from '../builders/archived-run.ts';
import { scratchFolder } from '../builders/in-process.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { RunSignals } from '../../main/host/desk-signals.ts';

const begin = Date.UTC(2026, 2, 1, 8);

test('HOST-93 the parts of a stretch hold every swing, at the time of day, over two starts of the controller, and what came since is added', () => {
  const folder = scratchFolder();
  let now = begin;
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis(now), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  try {
    const plan = planOf('A', 'O-1', ['S-1']);
    const created = archive.createRun({ plan, equipment, operator: 'A', software: 'test', simulated: true });
    if (!created.ok) throw new Error(created.text);
    const { id } = created;
    const add = (bodies: readonly RunEventBody[], made: readonly BenchFrame[]): void => expect(archive.append(id, bodies, made)).toMatchObject({ ok: true });
    add([openedBody(plan)], []);
    let frames = 0;
    /** An attempt of so many seconds; `change`: what one frame of it reads. */
    const attempt = (point: number, seconds: number, bootId: string, change: (frame: BenchFrame, i: number) => BenchFrame = (frame) => frame): void => {
      const made = framesFrom(1 + frames, seconds * frameHz, bootId).map(change);
      frames += made.length;
      now += seconds * 1000;
      add(attemptBodies(point, 1, 'accepted', made), made);
    };
    attempt(0, 100, 'one', (frame, i) => (i === 777 ? { ...frame, supply: volts(9) } : frame));
    attempt(1, 100, 'one');
    const signals = new RunSignals();
    const all = signals.read(archive, { id, parts: 40 });
    // The last frame of an attempt is of the instant at which it was ended.
    expect(all.whole?.to).toBeCloseTo(begin + 200_000, -1);
    expect(all.whole?.from).toBeGreaterThan(begin - 1100);
    expect(all.parts).toHaveLength(40);
    const lowest = all.parts.filter((p) => (p.supply?.[0] ?? 99) < 10);
    expect(lowest).toHaveLength(1);
    // Frame 778 of twenty a second.
    expect(Math.abs((lowest[0]?.at ?? 0) - (begin + 38_900))).toBeLessThan(5000);
    // 240 Hz at 100 000 edges a litre.
    for (const part of all.parts.slice(1)) expect(part.flow?.map((f) => Number(f.toFixed(0)))).toEqual([144, 144]);
    expect(all.parts.every((p) => (p.pressure?.[0] ?? 0) >= 400 && (p.pressure?.[1] ?? 0) < 400.2)).toBe(true);
    // A short stretch frame by frame: the swing is where it was.
    const near = signals.read(archive, { id, from: begin + 38_000, to: begin + 40_000, parts: 40 });
    expect(near.parts.length).toBeGreaterThan(30);
    expect(near.parts.filter((p) => (p.supply?.[0] ?? 99) < 10).map((p) => Math.abs(p.at - begin - 38_900) < 80)).toEqual([true]);
    // Another start of the controller, whose clock begins anew, after a minute without it.
    frames = 0;
    now += 60_000;
    attempt(2, 50, 'two', (frame, i) => (i === 10 ? { ...frame, supply: volts(20) } : frame));
    const more = signals.read(archive, { id, parts: 310 });
    expect(more.whole?.to).toBeCloseTo(begin + 310_000, -1);
    expect(more).toEqual(new RunSignals().read(archive, { id, parts: 310 }));
    expect(more.parts.filter((p) => (p.supply?.[1] ?? 0) > 15).map((p) => Math.abs(p.at - begin - 260_550) < 1600)).toEqual([true]);
    // Nothing is drawn where nothing was read.
    expect(more.parts.filter((p) => p.at > begin + 202_000 && p.at < begin + 258_000)).toEqual([]);
  } finally {
    archive.close();
    rmSync(folder, { recursive: true, force: true });
  }
});
