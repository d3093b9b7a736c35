/** A command at a simulated bench of its own, in a process that is late on purpose. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { expect, it } from 'vitest';
import { openArchive } from '../../main/archive/archive.ts';
import { commandBench } from '../../main/cli/places.ts';
import { RunService } from '../../main/service/run-service.ts';
import { sampleEquipment, samplePlan, scratchFolder } from '../builders/in-process.ts';

/** Nothing of this process goes on meanwhile, as when the machine gives its cores to others. */
const late = (ms: number): unknown => Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, ms);

/** What the journal says up to the third attempt, each event with its milliseconds since the first. The process is late before the start and after each event. */
async function journal(speed: number | 'virtual', lateMs: number): Promise<readonly unknown[]> {
  const folder = scratchFolder();
  const place = commandBench({ speed });
  let numbers = 0;
  const entropy = { nextUint32: () => (numbers += 1) };
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => place.clock.unixNow(), entropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  try {
    const run = await RunService.open(
      { archive, clock: place.clock, simulated: place.simulated, channels: place.channels, entropy, freeDiskBytes: () => null },
      { kind: 'new', plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'A. Tester', software: 'test 1' },
    );
    if (!run.ok) throw new Error(run.text);
    const { service } = run;
    let attempts = 0;
    const told = new Promise<void>((resolve) => {
      service.listen((events) => {
        late(lateMs);
        attempts += events.filter(({ kind }) => kind === 'attempt-ended').length;
        if (attempts >= 3 || service.failure !== null || service.state.mode === 'paused') resolve();
      });
    });
    late(lateMs);
    const answer = service.command({ kind: 'start' }, 'A. Tester');
    if (!answer.accepted) throw new Error(answer.reason);
    await told;
    service.command({ kind: 'emergency-stop' }, 'A. Tester');
    await service.rest();
    await service.close();
    const events = [...archive.events(service.id)];
    const third = events.filter(({ body }) => body.kind === 'attempt-ended')[2]?.seq ?? Number.POSITIVE_INFINITY;
    const [first] = events;
    return events.filter(({ seq }) => seq <= third).map(({ at, body }) => ({ ms: at - (first?.at ?? 0), body }));
  } finally {
    archive.close();
    place.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

it('CLI-76: a process that is late is none of the bench: the same start, the same journal to the millisecond as without', { timeout: 120_000 }, async () => {
  const plain = await journal('virtual', 0);
  expect(plain.filter((event) => (event as { body: { kind: string } }).body.kind === 'attempt-ended')).toHaveLength(3);
  // 60 ms are 6 s of this bench: longer than any telemetry may be away, and than its watchdog's time.
  expect(await journal(100, 60)).toEqual(plain);
});
