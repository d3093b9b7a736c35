/** An archive with one long run that has ended, as the archive receives it: what a window may ask for all at once. */
import { expandPlan } from '../../app/plan/expand.ts';
import { unixMillis } from '../../app/quantities/quantity.ts';
import { drawErrors, normalFrom, syntheticEquipment, syntheticInjector, syntheticPlan, syntheticWindow } from '../../app/reduce/synthetic.ts';
import type { RunEventBody } from '../../app/run/events.ts';
import { openArchive } from '../../main/archive/archive.ts';
import { machineEntropy } from '../../main/clock/machine.ts';
import { framesFrom } from '../builders/archived-run.ts';

/** A window of two seconds at 20 Hz. */
const framesPerPoint = 40;
const pointsPerCommit = 100;

const widthMs = [2, 2.1, 2.2, 2.3, 2.4, 2.5, 2.6, 2.7, 2.8, 2.9, 3, 3.2, 3.4, 3.6, 3.8, 4, 4.5, 5, 6, 7, 8, 9, 10, 12];

/** Makes the archive at `path`; returns how many attempts its run has: 144 times `widths` (at most 24) times `replicates`. */
export function makeLongArchive(path: string, replicates: number, widths = widthMs.length): number {
  let at = 1_750_000_000_000;
  const opened = openArchive(path, { now: () => unixMillis((at += 1000)), entropy: machineEntropy });
  if (!opened.ok) throw new Error(opened.text);
  const { archive } = opened;
  const plan = syntheticPlan(
    {
      voltageV: [8, 9, 10.5, 12, 14, 16],
      pressureKpa: [300, 400, 500],
      widthMs: widthMs.slice(0, widths),
      replicates,
    },
    8,
  );
  const points = expandPlan(plan);
  const created = archive.createRun({ plan, equipment: syntheticEquipment, operator: 'Operator 1', software: 'bench 1', simulated: true });
  if (!created.ok) throw new Error(created.text);
  const commit = (bodies: RunEventBody[], frames: ReturnType<typeof framesFrom>): void => {
    const written = archive.append(created.id, bodies, frames);
    if (!written.ok) throw new Error(written.text);
  };
  commit([{ kind: 'opened', plan, equipment: syntheticEquipment, operator: 'Operator 1', software: 'bench 1', points: points.length }], []);
  const normal = normalFrom(1);
  const errors = drawErrors(syntheticEquipment, normal);
  const scatter = { relative: 1e-3, width: 5e-7, voltage: 0.01, pressure: 500, warmer: 1 };
  for (let from = 0; from < points.length; from += pointsPerCommit) {
    const batch = points.slice(from, from + pointsPerCommit);
    const bodies = batch.flatMap((point): RunEventBody[] => {
      const window = syntheticWindow(point, syntheticInjector(point.injector), plan, syntheticEquipment, errors, scatter, normal);
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
    commit(bodies, framesFrom(1 + from * framesPerPoint, batch.length * framesPerPoint));
  }
  archive.close();
  return points.length;
}
