/** RUN-172: what a wall clock that was set must not do. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, describe, expect, it } from 'vitest';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { RunService } from '../../main/service/run-service.ts';
import { sampleEquipment, samplePlan, scenario, scratchFolder } from '../builders/in-process.ts';

const undo: (() => void | Promise<void>)[] = [];
afterEach(async () => {
  for (let last = undo.pop(); last !== undefined; last = undo.pop()) await last();
});

/** An archive, and runs that are opened in it at the given times of the wall clock. */
function house() {
  const folder = scratchFolder();
  undo.push(() => rmSync(folder, { recursive: true, force: true }));
  let wall = 0;
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => unixMillis(wall), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  undo.push(() => archive.close());
  const open = async (at: number) => {
    wall = at;
    const clock = new VirtualClock(at);
    const bench = new RunningBench(scenario(), clock);
    undo.push(() => clock.stop(), () => bench.switchOff());
    const result = await RunService.open(
      { archive, clock, entropy: machineEntropy, simulated: true, freeDiskBytes: () => null, channels: () => Promise.resolve([new SimulatedChannel(bench)]) },
      { kind: 'new', plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'test', software: 'test' },
    );
    if (result.ok) await result.service.close();
    return result;
  };
  return { archive, open };
}

describe('RUN-172', () => {
  it('before 1970 no run is opened, and the words say why', async () => {
    const { archive, open } = house();
    expect(await open(Date.UTC(1969, 6, 20))).toMatchObject({ ok: false, code: 'clock', text: expect.stringContaining('1969-07-20, which is before 1970') as string });
    expect(archive.latestRun()).toBeNull();
  });

  it('the latest run is the one that was opened last, also after the clock was set back', async () => {
    const { archive, open } = house();
    const first = await open(Date.UTC(2026, 1, 2));
    const second = await open(Date.UTC(2026, 1, 1));
    expect(first.ok && second.ok).toBe(true);
    expect(second.ok && archive.latestRun()?.id).toBe(second.ok ? second.service.id : '');
  });
});
