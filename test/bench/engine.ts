/** What the engine itself costs: frames, ticks, replies and events of one point as a host feeds them, no I/O, and whether that grows with the run. */
import { performance } from 'node:perf_hooks';
import type { Plan } from '../../app/plan/plan.ts';
import { createEngine } from '../../app/run/engine.ts';
import type { EngineInput } from '../../app/run/engine.ts';
import { TestRun, testPlan } from '../../app/run/scripted-bench.test-helper.ts';
import type { BenchReport } from './report.ts';

const points = 100_000;
/** As `main/service` ticks, s. */
const hostTick = 0.25;
/**
 * Timed at once; a single point is too short for the clock. No more, because a live engine gets its frames fresh from the line: those of
 * fifty points fill the processor's cache, and what is timed then is the memory.
 */
const slice = 5;

function timedSlice(timed: { step: (input: EngineInput) => unknown }, inputs: readonly EngineInput[]): void {
  for (let i = 0; i < inputs.length; i += 1) timed.step(inputs[i] as EngineInput);
}

/** 100 000 points of about 200 frames each, with guards on all signals. */
function longPlan(): Plan {
  const guards = (['pressure-deviation-kpa', 'pressure-kpa', 'rail-temperature-c', 'meter-temperature-c', 'supply-deviation-v', 'current-a'] as const).map(
    (signal, i) => ({ id: `g${i}`, signal, high: 1000, level: 'trip', dwellS: 1 }),
  );
  return testPlan({
    injectors: Array.from({ length: 8 }, (_, i) => ({ serialNumber: `A-${i}`, type: 'T', channel: i + 1 })),
    axes: { voltageV: [9, 10.5, 12, 14, 16], pressureKpa: [400], widthMs: [3, 4, 5, 6, 8], periodMs: [20], replicates: points / 200 },
    sequence: { kind: 'alternating' },
    settleS: 1,
    window: { minEdges: 24, minS: 8.5, maxS: 60 },
    guards,
  });
}

/**
 * The engine is deterministic, so a second one that is fed what a first one was fed on a live bench does the same. Only
 * the second is timed, over whole slices, so that neither the bench nor the clock enters.
 */
export function bench(): Promise<BenchReport> {
  const run = new TestRun({ plan: longPlan() });
  run.tickEvery = hostTick;
  const timed = createEngine(run.refold());
  let inputs: EngineInput[] = [];
  let frames = 0;
  const live = run.engine;
  run.engine = {
    get state() {
      return live.state;
    },
    get awaitsDecision() {
      return live.awaitsDecision;
    },
    status: (now) => live.status(now),
    step(input) {
      inputs.push(input);
      if (input.kind === 'frame') frames += 1;
      return live.step(input);
    },
  };
  run.start();
  const took: number[] = [];
  let cpu = 0;
  for (let wanted = slice; wanted <= points; wanted += slice) {
    run.runUntil((r) => r.engine.state.counts.accepted >= wanted, Number.POSITIVE_INFINITY);
    const cpuBefore = process.threadCpuUsage();
    const began = performance.now();
    timedSlice(timed, inputs);
    took.push(((performance.now() - began) / slice) * 1e3);
    const { user, system } = process.threadCpuUsage(cpuBefore);
    cpu += user + system;
    if (timed.state.counts.accepted !== run.engine.state.counts.accepted) throw new Error('The timed engine went another way than the live one.');
    inputs = [];
    run.journal.length = 0;
  }
  const median = (list: readonly number[]): number => list.toSorted((a, b) => a - b)[Math.floor(list.length / 2)] ?? Number.NaN;
  const tenth = Math.floor(took.length / 10);
  return Promise.resolve({
    name: `Run engine, ${Math.round(frames / points)} frames and a tick every quarter of a second, ${points} points, six guards`,
    figures: [
      { label: 'cost per point, median (aim 50)', value: median(took), unit: 'us' },
      { label: 'processor time per point, mean, whatever else runs', value: cpu / points, unit: 'us' },
      { label: 'cost per point, second tenth of the run', value: median(took.slice(tenth, 2 * tenth)), unit: 'us' },
      { label: 'cost per point, last tenth of the run', value: median(took.slice(-tenth)), unit: 'us' },
      { label: `cost per point, slowest ${slice} points`, value: Math.max(...took), unit: 'us' },
    ],
  });
}
