/**
 * Makes `test/house/fixtures/archive-version-1.sqlite`: an archive of version 1, from before the hash chain and the list
 * of runs. `node test/builders/archive-version-1.ts <file>` made the stored file; it is never made anew, because a
 * migration is tried on what was once written, not on what would be written today.
 */
import type { BenchFrame } from '../../app/bench/port.ts';
import type { RunEventBody } from '../../app/journal/events.ts';
import { migrations } from '../../main/archive/migrations.ts';
import { openDatabase } from '../../main/archive/sqlite.ts';
import { encodeFrames } from '../../main/archive/telemetry-chunk.ts';
import { attemptBodies, framesFrom, openedBody, planOf } from './archived-run.ts';

interface OldRun {
  readonly id: string;
  readonly createdAt: number;
  readonly plan: ReturnType<typeof planOf>;
  readonly appends: readonly { readonly bodies: readonly RunEventBody[]; readonly frames: readonly BenchFrame[] }[];
}

const framesPerAttempt = 40;

const attempts = (verdicts: readonly ('accepted' | 'rejected')[]) =>
  verdicts.map((verdict, i) => {
    const frames = framesFrom(1 + i * framesPerAttempt, framesPerAttempt, `boot-${i < 2 ? 1 : 2}`);
    // The first two are attempts of point 0.
    const [point, attempt] = i < 2 ? [0, i + 1] : [i - 1, 1];
    return { bodies: attemptBodies(point, attempt, verdict, frames).map(bodyThen), frames };
  });

/** The fields that a plan had then; whatever plans got since is left out, so that nobody has to come back here. */
const planFieldsThen: Readonly<Record<string, readonly string[] | null>> = {
  planVersion: null, name: null, order: null, injectors: null, settleS: null, guards: null,
  axes: ['voltageV', 'pressureKpa', 'widthMs', 'periodMs', 'replicates'],
  sequence: ['kind', 'seed'],
  supply: ['toleranceV', 'steadyS', 'timeoutS'],
  condition: ['pressureToleranceKpa', 'temperatureMinC', 'temperatureMaxC', 'steadyS', 'timeoutS'],
  purge: ['pulses', 'widthMs', 'periodMs'],
  window: ['minEdges', 'minS', 'maxS'],
  accept: ['pressureKpa', 'pressureSdKpa', 'supplyV', 'temperatureMinC', 'temperatureMaxC', 'halvesPercent', 'missingFramesPercent'],
  repeats: ['attemptsAtOnce', 'attemptsSecondPass'],
  limits: ['dutyPercent'],
  link: ['telemetryHz', 'deadManMs'],
  reduction: ['referenceC', 'linearityPercent'],
};
/** Fields that windows got later; attempts got their origin. */
const later = { window: ['current'] };

function planThen(name: string, order: string, serialNumbers: readonly string[]): ReturnType<typeof planOf> {
  const plan = structuredClone(planOf(name, order, serialNumbers));
  for (const [field, value] of Object.entries(plan)) {
    const inside = planFieldsThen[field];
    if (inside === undefined) Reflect.deleteProperty(plan, field);
    else if (inside !== null) for (const one of Object.keys(value as object)) if (!inside.includes(one)) Reflect.deleteProperty(value as object, one);
  }
  // Then the order that a plan had where it stated none.
  return { ...plan, sequence: { kind: 'alternating', seed: 1 } };
}

function bodyThen(body: RunEventBody): RunEventBody {
  const then = structuredClone(body);
  if (then.kind === 'attempt-started') Reflect.deleteProperty(then, 'origin');
  if (then.kind === 'attempt-ended' && then.window !== null) for (const field of later.window) Reflect.deleteProperty(then.window, field);
  return then;
}

const runOf = (id: string, createdAt: number, name: string, serialNumbers: readonly string[], verdicts: readonly ('accepted' | 'rejected')[], ends: boolean): OldRun => {
  const plan = planThen(name, `Order of ${name}`, serialNumbers);
  return {
    id,
    createdAt,
    plan,
    appends: [
      { bodies: [{ ...openedBody(planOf(name, plan.order, serialNumbers)), plan } as RunEventBody], frames: [] },
      ...attempts(verdicts),
      ...(ends ? [{ bodies: [{ kind: 'ended', ending: 'finished-early', text: 'Ended by the operator.' } as const], frames: [] }] : []),
    ],
  };
};

export const oldRuns: readonly OldRun[] = [
  runOf('0190a000-0000-7000-8000-000000000001', 1_720_000_000_000, 'First', ['S-101', 'S-102'], ['rejected', 'accepted', 'accepted', 'accepted'], true),
  runOf('0190a000-0000-7000-8000-000000000002', 1_720_003_600_000, 'Second', ['S-103'], ['accepted', 'accepted', 'rejected'], false),
];

/** Writes the old runs in the shape of version 1 into a new file. */
export function writeVersion1(path: string): void {
  const db = openDatabase(path, { readOnly: false, busyTimeout: 0 });
  migrations.find((step) => step.version === 1)?.apply(db, { id: 'of later versions', at: 0 }, 0);
  db.pragma('user_version = 1');
  const fill = db.transaction(() => {
    oldRuns.forEach((run, no) => {
      db.prepare('INSERT INTO runs VALUES (?, ?, ?, ?, ?, ?, ?)').run(no, run.id, run.createdAt, run.plan.name, run.plan.order, 'Operator 1', 'test 1');
      let seq = 0;
      let chunk = 0;
      const bootIds: string[] = [];
      for (const { bodies, frames } of run.appends) {
        const first = frames[0];
        const last = frames.at(-1);
        if (first !== undefined && last !== undefined) {
          if (!bootIds.includes(first.bootId)) {
            db.prepare('INSERT INTO segments VALUES (?, ?, ?)').run(no, bootIds.length, first.bootId);
            bootIds.push(first.bootId);
          }
          db.prepare('INSERT INTO telemetry VALUES (?, ?, ?, ?, ?, ?, ?, ?)').run(
            no,
            chunk,
            bootIds.length - 1,
            Math.floor(first.at * 1e6),
            Math.ceil(last.at * 1e6),
            last.number,
            frames.length,
            encodeFrames(frames),
          );
          chunk += 1;
        }
        for (const body of bodies) {
          db.prepare('INSERT INTO events VALUES (?, ?, ?, ?, ?)').run(no, seq, run.createdAt + 1000 * seq, body.kind, JSON.stringify(body));
          if (body.kind === 'attempt-ended') {
            db.prepare('INSERT INTO attempts VALUES (?, ?, ?, ?, ?, ?)').run(no, body.point, body.attempt, seq, body.verdict, bootIds.length - 1);
          }
          seq += 1;
        }
      }
    });
  });
  fill();
  db.close();
}

if (import.meta.main) {
  const path = process.argv[2];
  if (path === undefined) throw new Error('give the file to make');
  writeVersion1(path);
}
