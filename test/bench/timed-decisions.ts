/** Decisions of the schedule at 2 000 windows that count, timed: eight injectors at five voltages, from the journal in the archive to the additions. */
import type { Plan } from '../../app/plan/plan.ts';
import { syntheticPlan } from '../../app/reduce/synthetic.test-helper.ts';
import { decideStored } from '../../main/service/decide.ts';
import { decideInArchive } from '../builders/decided-run.ts';

const wanted = 2000;
/** So many runs are measured from their beginning; in each the first decision from then on is timed, some windows later. */
const runs = 16;
const decisions = 1;

const plan: Plan = {
  ...syntheticPlan({ voltageV: [9, 10.5, 12, 14, 16], widthMs: [1.8, 2, 2.2, 2.5, 2.8, 3.2, 4, 5, 6, 8, 10, 12], replicates: 1 }, 8, {}, { zero: { windowS: 20, settleS: 3, decayS: 0, deadTimeUs: 2 }, pair: { windows: 1 } }),
  reference: { injector: 'S-1', voltageV: 14, pressureKpa: 400, widthMs: 5, periodMs: 20, everyPoints: 50 },
  targets: { deadTimeUs: 0.1, atVoltage: [], hours: 100, attemptsPerCell: 400, known: [] },
};

export interface Timed {
  readonly time: number;
  readonly cpu: number;
  readonly measured: number;
}

/** Milliseconds of each decision at enough windows of one run. `within`: what it is done in. */
function timedOf(seed: number, within: <T>(work: () => T) => T): readonly Timed[] {
  const timed: Timed[] = [];
  const made = decideInArchive(plan, seed, (archive, run, measured) => {
    if (timed.length === decisions) return null;
    const cpuBefore = process.threadCpuUsage();
    const began = performance.now();
    const decided = within(() => decideStored(archive, run));
    const time = performance.now() - began;
    const { user, system } = process.threadCpuUsage(cpuBefore);
    if (measured >= wanted) timed.push({ time, cpu: (user + system) / 1e3, measured });
    return decided;
  });
  if (timed.length < decisions) throw new Error(`The schedule ended at ${made.at(-1)?.measured ?? 0} windows: this times no decision.`);
  return timed;
}

/** Of as many runs as are measured. */
export const timedDecisions = (within: <T>(work: () => T) => T): readonly Timed[] => Array.from({ length: runs }, (_, i) => timedOf(i + 1, within)).flat();
