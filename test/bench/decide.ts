/** What a decision of the schedule costs at 2 000 windows that count: eight injectors at five voltages, from the journal in the archive to the additions. At the desk, as the product asks for it, and in a process whose memory is held to nothing. */
import { fork } from 'node:child_process';
import { once } from 'node:events';
import { join } from 'node:path';
import type { Plan } from '../../app/plan/plan.ts';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import type { DecidedNext } from '../../app/schedule/schedule.ts';
import { deskArguments } from '../../main/host/desk-process.ts';
import type { DeskAnswer, DeskResults } from '../../main/host/desk-work.ts';
import { decideStored } from '../../main/service/decide.ts';
import { decideElsewhere, decideInArchive } from '../builders/decided-run.ts';
import { peakOf, processorTimeOf } from './child.ts';
import type { BenchReport } from './report.ts';

const wanted = 2000;
/** So many runs are measured from their beginning; in each the first decision from then on is timed, some windows later. */
const runs = 16;

const plan: Plan = {
  ...syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12], replicates: 1 }, 8, {}, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, pair: { windows: 1 } }),
  reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 50 },
  targets: { deadTimeUs: 0.1, atVoltage: [], hours: 100, attemptsPerCell: 400, known: [] },
};

/** ms, and of them the processor's. */
interface Timed {
  readonly time: number;
  readonly cpu: number;
  readonly measured: number;
}

function only<T extends Timed>([timed]: readonly T[], seed: number): T {
  if (timed === undefined) throw new Error(`The schedule of run ${seed} ended before ${wanted} windows: this times no decision.`);
  return timed;
}

function timedHere(seed: number): Timed {
  const timed: Timed[] = [];
  decideInArchive(plan, seed, (archive, run, measured) => {
    if (timed.length > 0) return null;
    const cpuBefore = process.threadCpuUsage();
    const began = performance.now();
    const decided = decideStored(archive, run);
    const time = performance.now() - began;
    const { user, system } = process.threadCpuUsage(cpuBefore);
    if (measured >= wanted) timed.push({ time, cpu: (user + system) / 1e3, measured });
    return decided;
  });
  return only(timed, seed);
}

/** At a desk of its own, from the question to the answer; and the most memory that it had, MB. */
async function timedAtDesk(seed: number): Promise<Timed & { readonly peak: number }> {
  const timed: (Timed & { readonly peak: number })[] = [];
  const desks: ReturnType<typeof fork>[] = [];
  try {
    await decideElsewhere(plan, seed, async (archive, run, measured) => {
      if (timed.length > 0) return null;
      const [desk = fork(join(import.meta.dirname, '..', '..', 'main', 'host', 'desk-worker.ts'), deskArguments(archive.path, process.pid, 'like-the-host'), { serialization: 'advanced' })] = desks;
      if (desks.length === 0) desks.push(desk);
      const pid = desk.pid ?? 0;
      const cpuBefore = processorTimeOf(pid);
      const began = performance.now();
      desk.send({ id: 0, job: { kind: 'decide', run } });
      const [{ answer }] = (await once(desk, 'message')) as [{ readonly answer: DeskAnswer }];
      if (measured >= wanted) timed.push({ time: performance.now() - began, cpu: processorTimeOf(pid) - cpuBefore, measured, peak: peakOf(pid) });
      return answer.ok ? { ok: true, decision: answer.value as DeskResults['decide'] } : ({ ok: false, text: answer.text } satisfies DecidedNext);
    });
  } finally {
    for (const desk of desks) desk.disconnect();
  }
  return only(timed, seed);
}

const meanOf = (timed: readonly Timed[]): number => timed.reduce((sum, t) => sum + t.cpu, 0) / timed.length;
const median = (values: readonly number[]): number => values.toSorted((a, b) => a - b)[Math.floor(values.length / 2)] ?? Number.NaN;

export async function bench(): Promise<BenchReport> {
  const seeds = Array.from({ length: runs }, (_, i) => i + 1);
  const atDesk: (Timed & { readonly peak: number })[] = [];
  for (const seed of seeds) atDesk.push(await timedAtDesk(seed));
  const here = seeds.map(timedHere);
  return {
    name: `A decision of the schedule at ${median(here.map((t) => t.measured))} windows that count`,
    figures: [
      { label: `at the desk, asked and answered: median of ${runs} (aim 20)`, value: median(atDesk.map((t) => t.time)), unit: 'ms' },
      { label: 'at the desk: mean of processor time, whatever else runs', value: meanOf(atDesk), unit: 'ms' },
      { label: 'at the desk: longest', value: Math.max(...atDesk.map((t) => t.time)), unit: 'ms' },
      { label: 'at the desk: most memory of its process', value: Math.max(...atDesk.map((t) => t.peak)), unit: 'MB' },
      { label: `memory held to nothing: median of ${runs} (aim 20)`, value: median(here.map((t) => t.time)), unit: 'ms' },
      // Some machines count processor time in steps of 4 ms: of single decisions a median would be one of them.
      { label: 'memory held to nothing: mean of processor time, whatever else runs', value: meanOf(here), unit: 'ms' },
      { label: 'memory held to nothing: longest', value: Math.max(...here.map((t) => t.time)), unit: 'ms' },
    ],
  };
}
