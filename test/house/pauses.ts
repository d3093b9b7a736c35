/**
 * Both kinds of pause at every step of a small plan: the run must end in the same accepted data as one that nobody
 * disturbed. The bench is the simulated one without noise, so that the same measurement gives the same number.
 */
import { expandPlan } from '../../app/plan/expand.ts';
import { reduction, runInProcess, samplePlan, scenario, type InProcessResult } from '../builders/in-process.ts';
import type { Plan } from '../../app/plan/plan.ts';

type PauseKind = 'pause-now' | 'pause-at-next-point';

/** Two injectors x two voltages x three widths; windows of so many turns of the meter that their edges matter little. */
const plan = (): Plan => samplePlan('small-plan', (small) => ({ ...small, pair: { windows: 0 }, settleS: 3, window: { minEdges: 480, minS: 16, maxS: 60 } }));
const bench = scenario({ noise: false });

/** Mass of a pulse at each point, kg, of a zero point its meter edges; null where no attempt counts. */
function accepted(result: InProcessResult): readonly (number | null)[] {
  const masses = new Map(reduction(result.state).windows.map((w) => [w.point, w.outcome.kind === 'mass' ? w.outcome.mass : null]));
  return expandPlan(result.state.plan).map((point) => {
    if (point.role !== 'zero') return masses.get(point.index) ?? null;
    const { attempts, chosen } = result.state.points.at(point.index) ?? { attempts: [], chosen: null };
    return attempts.find(({ attempt }) => attempt === chosen)?.window?.edges ?? null;
  });
}

const stepsIn = (result: InProcessResult): number => result.events.filter((event) => event.kind === 'step').length;

async function disturbed(kind: PauseKind, atStep: number): Promise<{ result: InProcessResult; paused: number }> {
  let steps = 0;
  let paused = 0;
  const result = await runInProcess({
    plan: plan(),
    scenario: bench,
    onEvents: (events, { command }) => {
      for (const event of events) {
        if (event.kind !== 'step') continue;
        steps += 1;
        if (steps === atStep) command({ kind });
      }
    },
    atRest: (rest) => {
      if (rest.kind !== 'resting' || rest.mode !== 'paused') return null;
      paused += 1;
      return { kind: 'resume' };
    },
  });
  return { result, paused };
}

export interface PauseFindings {
  readonly steps: number;
  readonly runs: number;
  readonly pauses: number;
  readonly problems: readonly string[];
  /** Greatest difference of an accepted mass from the undisturbed run, relative. */
  readonly greatestDifference: number;
}

/** `every` 1: at every step; 5: at every fifth. */
export async function pausesEverywhere(every: number): Promise<PauseFindings> {
  const undisturbed = await runInProcess({ plan: plan(), scenario: bench });
  const expected = accepted(undisturbed);
  const zero = new Set(expandPlan(undisturbed.state.plan).flatMap((point) => (point.role === 'zero' ? [point.index] : [])));
  const steps = stepsIn(undisturbed);
  const problems: string[] = [];
  let runs = 0;
  let pauses = 0;
  let greatestDifference = 0;
  if (expected.includes(null)) problems.push('the undisturbed run has points without an accepted attempt');
  for (const kind of ['pause-now', 'pause-at-next-point'] as const) {
    for (let step = 1; step <= steps; step += every) {
      const { result, paused } = await disturbed(kind, step);
      const where = `${kind} at step ${step}`;
      runs += 1;
      pauses += paused;
      // A pause at the next point that was asked for in the very last attempt finds no next point.
      if (paused !== 1 && !(kind === 'pause-at-next-point' && paused === 0 && result.state.ending === 'complete')) {
        problems.push(`${where}: paused ${paused} times`);
      }
      if (result.state.ending !== 'complete') problems.push(`${where}: ended as ${result.state.ending ?? 'not at all'}`);
      if (!result.verified) problems.push(`${where}: the archive is not whole`);
      const choices = new Map<number, number>();
      for (const event of result.events) if (event.kind === 'chosen') choices.set(event.point, (choices.get(event.point) ?? 0) + 1);
      for (const [point, times] of choices) if (times !== 1) problems.push(`${where}: point ${point} was accepted ${times} times`);
      accepted(result).forEach((mass, point) => {
        const reference = expected[point];
        if (mass === null || reference === null || reference === undefined) problems.push(`${where}: point ${point} has no accepted attempt`);
        // Edges are whole, so where the meter stood when a window began may make one of difference, and no more.
        else if (zero.has(point)) {
          if (Math.abs(mass - reference) > 1) problems.push(`${where}: zero point ${point} has ${mass} edges instead of ${reference}`);
        } else greatestDifference = Math.max(greatestDifference, Math.abs(mass / reference - 1));
      });
    }
  }
  return { steps, runs, pauses, problems, greatestDifference };
}

/** What may remain between two measurements of one point without noise: the coil's temperature and the window's edges. */
export const sameMass = 2e-4;

export async function showPauses([every = '1']: readonly string[]): Promise<boolean> {
  const found = await pausesEverywhere(Number(every));
  process.stdout.write(
    `${found.runs} runs, a pause at each of ${found.steps} steps in both kinds, ${found.pauses} pauses taken: ${found.problems.length} problems, greatest difference of an accepted mass ${found.greatestDifference.toExponential(1)} of its value\n`,
  );
  for (const problem of found.problems.slice(0, 20)) process.stdout.write(`  ${problem}\n`);
  return found.problems.length === 0 && found.greatestDifference <= sameMass;
}
