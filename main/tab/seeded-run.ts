/**
 * A run whose every byte comes from a seed: the small sample plan on the simulated bench, on the virtual clock, from a fixed day. A tab and the program itself
 * must come to the same journal, hash by hash: what a tab has in place of Node and of the native database is held to that.
 */
import { mersenne } from 'pure-rand/generator/mersenne';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive } from '../archive/archive.ts';
import { chainHash } from '../archive/chain.ts';
import { RunningBench } from '../bench/running-bench.ts';
import { SimulatedChannel } from '../bench/simulated-channel.ts';
import { VirtualClock } from '../clock/clock.ts';
import equipmentSample from '../samples/equipment.json' with { type: 'json' };
import scenarioSample from '../samples/scenario.json' with { type: 'json' };
import planSample from '../samples/small-plan.json' with { type: 'json' };
import { RunService } from '../service/run-service.ts';

/** 2026-02-01: the certificates of the sample equipment are in force. */
const day = Date.UTC(2026, 1, 1);

export interface SeededRun {
  readonly points: number;
  readonly accepted: number;
  readonly events: number;
  /** SHA-256 over its journal, event after event, hexadecimal. Stored telemetry is none of it: another compressor writes other bytes of the same frames. */
  readonly head: string;
  readonly verified: boolean;
}

/** `path`: of an archive that is made new. Throws what went wrong. */
export async function seededRun(path: string, seed: number): Promise<SeededRun> {
  const plan = parsePlan(planSample);
  const equipment = parseEquipment(equipmentSample);
  if (!plan.ok || !equipment.ok) throw new Error('The samples cannot be read.');
  const chance = mersenne(seed);
  const entropy = { nextUint32: () => chance.next() >>> 0 };
  const clock = new VirtualClock(day);
  const opened = openArchive(path, { now: () => clock.unixNow(), entropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const bench = new RunningBench(scenarioSchema.parse({ ...scenarioSample, seed }), clock);
  try {
    const started = await RunService.open(
      { archive, clock, simulated: true, entropy, freeDiskBytes: () => null, channels: () => Promise.resolve([new SimulatedChannel(bench)]) },
      { kind: 'new', plan: plan.plan, equipment: equipment.equipment, operator: 'Nobody', software: 'railhouse' },
    );
    if (!started.ok) throw new Error(started.text);
    const { service } = started;
    await service.rest();
    const begun = service.command({ kind: 'start' }, 'Nobody');
    if (!begun.accepted) throw new Error(begun.reason);
    await service.rest();
    await service.close();
    const { counts, setPoints } = service.state;
    const events = [...archive.events(service.id)];
    const head = events.reduce((before, { seq, at, body }) => chainHash(before, seq, at, JSON.stringify(body)), service.id);
    return { points: setPoints.length, accepted: counts.accepted, events: events.length, head, verified: archive.verify().passed };
  } finally {
    bench.switchOff();
    clock.stop();
    archive.close();
  }
}
