/** HOST-50 where a command connects the bench itself, without a host. */
import { rmSync } from 'node:fs';
import { join } from 'node:path';
import { afterEach, beforeEach, expect, it } from 'vitest';
import type { BenchFrame } from '../../app/bench/port.ts';
import { unixMillis, volts } from '../../app/quantities/quantity.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { connectBench, type Bench } from '../../main/bench/driver.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock, wait } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { RunService } from '../../main/service/run-service.ts';
import { sampleEquipment, samplePlan, scratchFolder } from '../builders/in-process.ts';

let folder = '';
let archive: Archive;
let clock: VirtualClock;
let bench: RunningBench;
const channels = () => Promise.resolve([new SimulatedChannel(bench)]);

beforeEach(() => {
  folder = scratchFolder();
  clock = new VirtualClock(unixMillis(1_750_000_000_000));
  bench = new RunningBench(scenarioSchema.parse({ scenarioVersion: 1 }), clock);
  const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => clock.unixNow(), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  archive = opened.archive;
});
afterEach(() => {
  bench.switchOff();
  clock.stop();
  archive.close();
  rmSync(folder, { recursive: true, force: true });
});

async function connected(onFrame: (frame: BenchFrame) => void = () => undefined): Promise<Bench> {
  const made = await connectBench({ channels, clock, entropy: machineEntropy, deadManMs: 2000, telemetryHz: 20, onFrame });
  if (!made.ok) throw new Error(made.text);
  return made.bench;
}

const open = () =>
  RunService.open(
    { archive, clock, channels, simulated: true, entropy: machineEntropy, freeDiskBytes: () => null },
    { kind: 'new', plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'A', software: 'test 1' },
  );

it('HOST-50 a run that connects a bench which another program left driven makes it safe before anything else, and says so', async () => {
  const other = await connected();
  expect(await other.perform({ kind: 'arm' })).toMatchObject({ kind: 'done' });
  expect(await other.perform({ kind: 'set-supply', supply: volts(12) })).toMatchObject({ kind: 'done' });
  // It dies, and the command is there within the dead-man's time.
  await other.close();
  const run = await open();
  if (!run.ok) throw new Error(run.text);
  expect(run.foundDriven).toMatch(/still driven when it was connected.*made safe/);
  expect(run.service.state.mode).toBe('ready');
  // No dead-man has acted: it was told, and says so itself.
  await run.service.close();
  const frames: BenchFrame[] = [];
  const after = await connected((frame) => frames.push(frame));
  await wait(clock, 200);
  expect(frames[0]).toMatchObject({ armed: false, fault: null });
  expect(frames[0]?.supply).toBeLessThan(after.capabilities.safeSupply + 0.5);
  await after.close();
});

it('HOST-50 of a bench at rest nothing is said, and it is told nothing', async () => {
  const run = await open();
  if (!run.ok) throw new Error(run.text);
  expect(run.foundDriven).toBeNull();
  await run.service.close();
});
