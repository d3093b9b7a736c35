/** Whole runs in this process: the real host, line and simulated bench on a virtual clock. */
import { mkdtempSync, existsSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { parseEquipment } from '../../app/equipment/parse.ts';
import type { Equipment } from '../../app/equipment/equipment.ts';
import { parsePlan } from '../../app/plan/parse.ts';
import type { Plan } from '../../app/plan/plan.ts';
import { countingAttempts } from '../../app/reduce/counting.ts';
import { reduceRun, type Reduction } from '../../app/reduce/reduce.ts';
import type { RunState } from '../../app/journal/state.ts';
import type { RunCommand, RunEventBody } from '../../app/journal/events.ts';
import { scenarioSchema, type Scenario } from '../../firmware-protocol/simulator/plant/scenario.ts';
import { openArchive, type Archive } from '../../main/archive/archive.ts';
import { RunningBench } from '../../main/bench/running-bench.ts';
import { VirtualClock } from '../../main/clock/clock.ts';
import type { Channel } from '../../main/link/channel.ts';
import { SimulatedChannel } from '../../main/bench/simulated-channel.ts';
import { readSample } from '../../main/samples/samples.test-helper.ts';
import { loadRun, RunService, type Rest } from '../../main/service/run-service.ts';

/** 2026-02-01, so that the certificates of the sample equipment are in force. */
const unixOrigin = Date.UTC(2026, 1, 1);

export function samplePlan(name: 'plan' | 'small-plan', change: (plan: Plan) => Plan = (plan) => plan): Plan {
  const parsed = parsePlan(readSample(name));
  if (!parsed.ok) throw new Error('the sample plan does not parse');
  return change(parsed.plan);
}

/** Without zero points and period pairs, which take most of the time of a small plan. */
export const withoutLeakChecks = (plan: Plan): Plan => ({ ...plan, zero: { ...plan.zero, windowS: 0 }, pair: { windows: 0 }, invariance: { ...plan.invariance, percent: 0 }, blind: { ...plan.blind, percent: 0 } });

export function sampleEquipment(): Equipment {
  const parsed = parseEquipment(readSample('equipment'));
  if (!parsed.ok) throw new Error('the sample equipment does not parse');
  return parsed.equipment;
}

export const scenario = (over: Partial<Scenario> = {}): Scenario => scenarioSchema.parse({ scenarioVersion: 1, ...over });

/** A new folder, in memory where the machine has such a place; the caller removes it. */
export function scratchFolder(): string {
  return mkdtempSync(join(existsSync('/dev/shm') ? '/dev/shm' : tmpdir(), 'railhouse-'));
}

interface Visit {
  readonly archive: Archive;
  readonly service: RunService;
  readonly clock: VirtualClock;
  readonly bench: RunningBench;
  readonly command: (command: RunCommand) => { readonly accepted: boolean; readonly reason: string };
}

export interface InProcessRun {
  readonly plan: Plan;
  readonly scenario: Scenario;
  readonly equipment?: Equipment;
  readonly maxArchiveBytes?: number;
  /** The wire to the bench; absent: one without troubles. */
  readonly channel?: (bench: RunningBench, clock: VirtualClock) => Channel;
  /** Told of each commit; may give commands. */
  readonly onEvents?: (events: readonly RunEventBody[], visit: Visit) => void;
  /** What to do at a rest once the run was started; null: leave, which is also the default. */
  readonly atRest?: (rest: Rest, visit: Visit) => RunCommand | null;
}

export interface InProcessResult {
  readonly state: RunState;
  readonly rest: Rest;
  readonly events: readonly RunEventBody[];
  readonly verified: boolean;
}

export async function runInProcess(run: InProcessRun): Promise<InProcessResult> {
  const folder = scratchFolder();
  const clock = new VirtualClock(unixOrigin);
  let numbers = 0;
  const entropy = { nextUint32: () => (numbers += 1) };
  const opened = openArchive(join(folder, 'archive.sqlite'), {
    now: () => clock.unixNow(),
    entropy,
    ...(run.maxArchiveBytes === undefined ? {} : { maxBytes: run.maxArchiveBytes }),
  });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const bench = new RunningBench(run.scenario, clock);
  const channel = run.channel?.(bench, clock) ?? new SimulatedChannel(bench);
  try {
    const started = await RunService.open(
      {
        archive, clock, simulated: true, entropy, freeDiskBytes: () => null,
        channels: () => Promise.resolve([channel]),
      },
      { kind: 'new', plan: run.plan, equipment: run.equipment ?? sampleEquipment(), operator: 'test', software: 'test' },
    );
    if (!started.ok) throw new Error(started.text);
    const { service } = started;
    const visit: Visit = { archive, service, clock, bench, command: (command) => service.command(command, 'test') };
    service.listen((events) => run.onEvents?.(events, visit));
    let rest: Rest = await service.rest();
    for (let next: RunCommand | null = { kind: 'start' }; next !== null; next = run.atRest?.(rest, visit) ?? null) {
      const answer = visit.command(next);
      if (!answer.accepted) throw new Error(`${next.kind}: ${answer.reason}`);
      rest = await service.rest();
    }
    await service.close();
    const events = [...archive.events(service.id)].map((event) => event.body);
    // The state that drives a run keeps no windows (HOST-19); that of its journal does.
    const stored = loadRun(archive, service.id);
    if (!stored.ok) throw new Error(stored.text);
    return { state: stored.state, rest, events, verified: archive.verify().passed };
  } finally {
    bench.switchOff();
    clock.stop();
    archive.close();
    rmSync(folder, { recursive: true, force: true });
  }
}

/** The counting attempts of a run, reduced. */
export function reduction(state: RunState): Reduction {
  return reduceRun({
    plan: state.plan,
    equipment: state.equipment,
    points: state.setPoints,
    attempts: countingAttempts(state),
  });
}

/** The small sample plan and its first injector, for tests that make another plan of it. */
export function smallPlan() {
  const small = samplePlan('small-plan');
  const [first] = small.injectors;
  if (first === undefined) throw new Error('the small plan has injectors');
  return { small, first };
}

/** A fast plan of four injectors, two replicates and a reference injector. `blind`: beside what the small plan says of blind windows. */
export function replicatedPlan(blind: Partial<ReturnType<typeof samplePlan>['blind']> = {}) {
  const { small, first } = smallPlan();
  return {
    ...small,
    injectors: [1, 2, 3, 4].map((i) => ({ ...first, serialNumber: `S-${i}`, channel: i })),
    axes: { voltageV: [14], pressureKpa: [400], widthMs: [3, 4, 5, 6], periodMs: [20], replicates: 2 },
    reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 16 },
    blind: { ...small.blind, ...blind },
    reduction: { ...small.reduction, linearFromMs: 3 },
  };
}

/** The environment of the tests without what the commands look for in it; `folder` stands for that of the user's settings. */
export const bareEnvironment = (folder: string): NodeJS.ProcessEnv => ({
  ...Object.fromEntries(Object.entries(process.env).filter(([name]) => !name.startsWith('RAILHOUSE') && !name.startsWith('npm_'))),
  XDG_CONFIG_HOME: folder,
});
