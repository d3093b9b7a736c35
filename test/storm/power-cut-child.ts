/** One small run into an archive in the folder given; says what it announces. It runs under a tracer (`power-cut.ts`). */
import { writeSync } from 'node:fs';
import { join } from 'node:path';
import { openArchive } from '../../main/archive/archive.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { RunService } from '../../main/service/run-service.ts';
import { samplePlan, sampleEquipment, scenario } from '../builders/in-process.ts';
import { Chance } from './draw.ts';

const [folder = '', seed = '1'] = process.argv.slice(2);
const clock = new VirtualClock(Date.UTC(2026, 1, 1));
const entropy = new Chance(Number(seed), 'power cut');
const opened = openArchive(join(folder, 'archive.sqlite'), { now: () => clock.unixNow(), entropy });
if (!opened.ok) throw new Error(opened.text);
const bench = new RunningBench(scenario({ seed: Number(seed) }), clock);
const started = await RunService.open(
  { archive: opened.archive, clock, simulated: true, entropy, freeDiskBytes: () => null, channels: () => Promise.resolve([new SimulatedChannel(bench)]) },
  { kind: 'new', plan: samplePlan('small-plan'), equipment: sampleEquipment(), operator: 'a person', software: 'power cut' },
);
if (!started.ok) throw new Error(started.text);
const { service } = started;
service.listen((events) => {
  for (const event of events) {
    if (event.kind === 'attempt-ended' && event.verdict === 'accepted') writeSync(1, `announced ${event.point}:${event.attempt}\n`);
  }
});
service.command({ kind: 'start' }, 'a person');
await service.rest();
await service.close();
opened.archive.close();
bench.switchOff();
clock.stop();
