/**
 * Archives with a long run, as the archive receives it: what a window may ask for all at once. The windows have lines that can be
 * reduced; the frames stand in for theirs in number and time, so `verify` has all of its work with them, and finds that they differ.
 */
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parseEquipment } from '../../app/equipment/parse.ts';
import { expandPlan } from '../../app/plan/expand.ts';
import type { Plan } from '../../app/plan/plan.ts';
import type { Point } from '../../app/plan/points.ts';
import { seconds, unixMillis } from '../../app/quantities/quantity.ts';
import { drawErrors, normalFrom, quietScatter, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.test-helper.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { RunService } from '../../main/service/run-service.ts';
import { scenarioSchema } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { frameHz, framesFrom } from '../builders/archived-run.ts';

/** A window of two seconds at 20 Hz. */
const framesPerPoint = 40;
/** As few frames in a chunk as a run writes, within reason: whoever looks at a window unpacks the whole chunk. */
const pointsPerCommit = 10;
const software = 'bench 1';

const widthMs = [2, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6, 2.7, 2.8, 2.9, 3, 3.2, 3.4, 3.6, 3.8, 4, 4.5, 5, 6, 7, 8, 9, 10, 12];

function longPlan(replicates: number, widths = widthMs.length): Plan {
  const axes = { voltageV: [8, 9, 10.5, 12, 14, 16], pressureKpa: [300, 400, 500], widthMs: widthMs.slice(0, widths), replicates };
  return syntheticPlan(axes, 8);
}

function openedAt(path: string): Archive {
  let at = 1_750_000_000_000;
  const opened = openArchive(path, { now: () => unixMillis((at += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  return opened.archive;
}

/** Makes the archive at `path`; returns how many attempts its run has: 144 times `widths` (at most 24) times `replicates`. */
export function makeLongArchive(path: string, replicates: number, widths?: number): number {
  const archive = openedAt(path);
  const plan = longPlan(replicates, widths);
  const points = expandPlan(plan);
  const equipment = syntheticEquipment;
  const operator = 'Operator 1';
  const created = archive.createRun({ plan, equipment, operator, software, simulated: true });
  if (!created.ok) throw new Error(created.text);
  commit(archive, created.id, [{ kind: 'opened', plan, equipment, operator, software, points: points.length }], []);
  measure(archive, created.id, plan, equipment, points);
  archive.close();
  return points.length;
}

/**
 * The same of a run that the simulated bench was opened for and that can go on there: all but the last `left` points of its plan
 * have their accepted attempt. Its dead-man is 1 s.
 */
export async function makeUnfinishedArchive(path: string, replicates: number, left: number): Promise<{ readonly id: string; readonly attempts: number }> {
  const archive = openedAt(path);
  const clock = new VirtualClock(unixMillis(1_750_000_000_000));
  const bench = new RunningBench(scenarioSchema.parse(readSample('scenario')), clock);
  const record = parseEquipment(readSample('equipment'));
  if (!record.ok) throw new Error('the sample record does not parse');
  const { equipment } = record;
  const plan: Plan = { ...longPlan(replicates), link: { ...longPlan(1).link, deadManMs: 1000 } };
  const points = expandPlan(plan);
  try {
    const run = await RunService.open(
      { archive, clock, channels: () => Promise.resolve([new SimulatedChannel(bench)]), simulated: true, entropy: machineEntropy, freeDiskBytes: () => null },
      { kind: 'new', plan, equipment, operator: 'Operator 1', software },
    );
    if (!run.ok) throw new Error(run.text);
    await run.service.close();
    const { id } = run.service;
    measure(archive, id, plan, equipment, points.slice(0, -left));
    return { id, attempts: points.length - left };
  } finally {
    bench.switchOff();
    clock.stop();
    archive.close();
  }
}

function commit(archive: Archive, id: string, bodies: RunEventBody[], frames: ReturnType<typeof framesFrom>): void {
  const written = archive.append(id, bodies, frames);
  if (!written.ok) throw new Error(written.text);
}

/** An accepted attempt of each point. */
function measure(archive: Archive, id: string, plan: Plan, equipment: Equipment, points: readonly Point[]): void {
  const normal = normalFrom(1);
  const errors = drawErrors(equipment, normal);
  for (let from = 0; from < points.length; from += pointsPerCommit) {
    const batch = points.slice(from, from + pointsPerCommit);
    const bodies = batch.flatMap((point): RunEventBody[] => {
      const synthetic = syntheticWindow(point, syntheticInjector(point.injector), plan, equipment, errors, quietScatter, normal);
      const first = 1 + point.index * framesPerPoint;
      const window = { ...synthetic, from: seconds(first / frameHz), to: seconds((first + framesPerPoint - 1) / frameHz) };
      const place = { point: point.index, attempt: 1 };
      return [
        { kind: 'attempt-started', ...place, reason: 'plan' },
        ...(['supply', 'condition', 'purge', 'settle', 'measure'] as const).map((step): RunEventBody => ({ kind: 'step', step, ...place })),
        {
          kind: 'attempt-ended', ...place, verdict: 'accepted', window,
          criteria: [{ rule: 'pressure', passed: true, text: `Mean ${(window.pressure.mean / 1e3).toFixed(2)} kPa, allowed 396.00 kPa to 404.00 kPa.` }],
          text: 'All criteria are met.',
        },
        { kind: 'chosen', ...place, by: { rule: 'RUN-40' }, why: 'First accepted attempt.' },
      ];
    });
    commit(archive, id, bodies, framesFrom(1 + from * framesPerPoint, batch.length * framesPerPoint));
  }
}
